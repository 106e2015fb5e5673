"""What every page keeps to, without a browser."""

from __future__ import annotations

import datetime as dt
import gzip
import re

import pytest
from fastapi.testclient import TestClient

import demo_weather
from service.store import Store
from service.words.plain import date_and_interval
from tests.board.scenes import GROWER, one_block
from tests.conftest import client_of

BOARD = f"/vineyards/{demo_weather.VINEYARD.key}"
AS_OF = f"as_of={demo_weather.AS_OF}"
PAGES = [
    "/",
    f"{BOARD}?{AS_OF}",
    f"{BOARD}/visit?{AS_OF}",
    f"{BOARD}/map",
    f"{BOARD}/skill",
    "/vineyards/none",
]


@pytest.mark.parametrize("address", PAGES)
def test_no_page_names_another_machine(demo_client: TestClient, address: str) -> None:
    answer = demo_client.get(address)
    assert "default-src 'self'" in answer.headers["content-security-policy"]
    assert not re.findall(r'(?:src|href|action)="(?:[a-z]+:)?//', answer.text)
    assert "<script>" not in answer.text


@pytest.mark.parametrize(
    ("address", "status", "said"),
    [
        ("/vineyards/none", 404, "does not exist"),
        (f"{BOARD}?as_of=31.02.2026", 422, "as_of"),
        (f"{BOARD}?interval=1.5", 422, "interval"),
        (f"{BOARD}?as_of=2011-01-01", 200, "nothing is known on 2011-01-01"),
        ("/file-templates/other.csv", 404, "other.csv"),
    ],
)
def test_errors_are_pages(demo_client: TestClient, address: str, status: int, said: str) -> None:
    answer = demo_client.get(address)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    assert said in answer.text


def test_the_board_is_the_same_as_the_forecast(demo_client: TestClient) -> None:
    page = demo_client.get(f"{BOARD}?{AS_OF}").text
    told = demo_client.get(f"/v1{BOARD}/forecast?{AS_OF}").json()
    for block in told["blocks"]:
        assert f"<b>{block['block']}</b>" in page
        start = block["stages"]["bloom_start"]
        if start["status"] != "observed":
            days = [dt.date.fromisoformat(start[name]) for name in ("median", "low", "high")]
            assert f">{date_and_interval(*days)} – " in page
    warned = demo_client.get(f"/v1{BOARD}/pollination?{AS_OF}").json()
    messages = [warning["message"] for block in warned["pistillate_blocks"] for warning in block["warnings"]]
    assert messages
    for message in messages:
        assert message.replace("'", "&#39;") in page
    for caution in told["cautions"]:
        assert caution.replace("'", "&#39;") in page


def test_names_are_text_wherever_they_stand(demo_client: TestClient) -> None:
    wicked = '</script><img src=x onerror="alert(1)">&'
    kept = demo_client.get("/v1/cultivars/lantern-hush").json()
    body = {name: kept[name] for name in ("species", "flower_type", "viable_pollen", "berry_mass_g")}
    assert demo_client.put("/v1/cultivars/lantern-hush", json={"name": wicked, **body}).status_code == 200
    for address in PAGES:
        text = demo_client.get(address).text
        assert "<img" not in text
    assert "&lt;/script&gt;&lt;img" in demo_client.get(f"{BOARD}?{AS_OF}").text


def test_a_visit_without_script_is_stored_and_leads_to_the_board(demo_client: TestClient) -> None:
    sent = {"block": "west-4", "date": "2026-05-20", "percent_open": "10", "note": "", "as_of": "2026-05-20"}
    answer = demo_client.post(f"{BOARD}/visit", data=sent, follow_redirects=False)
    assert answer.status_code == 303
    assert answer.headers["location"] == f"{BOARD}?as_of=2026-05-20&recorded=west-4"
    assert "The visit to west-4 is recorded" in demo_client.get(answer.headers["location"]).text
    wrong = demo_client.post(f"{BOARD}/visit", data=sent | {"percent_open": "110"})
    assert wrong.status_code == 422
    assert "Caps off, per cent" in wrong.text
    assert demo_client.post(f"{BOARD}/visit", data=sent | {"block": "gone"}).status_code == 422


def test_the_board_far_from_the_data_points_to_them(demo_client: TestClient) -> None:
    text = demo_client.get(f"{BOARD}?as_of=2026-07-20").text
    assert "See the board as of 20 May 2026" in text
    assert "See the board" not in demo_client.get(f"{BOARD}?{AS_OF}").text


def test_no_page_weighs_more_than_60_kb(demo_client: TestClient) -> None:
    for address in PAGES:
        page = demo_client.get(address)
        parts = [demo_client.get(part) for part in re.findall(r'(?:src|href)="(/static/[^"]+)"', page.text)]
        assert sum(len(gzip.compress(part.content)) for part in (page, *parts)) < 60_000, address


def test_a_vineyard_without_a_fit_offers_one(tmp_path_factory: pytest.TempPathFactory) -> None:
    database = tmp_path_factory.mktemp("unfitted") / "unfitted.db"
    store = Store(f"sqlite:///{database}")
    store.migrate()
    with store.transaction(GROWER) as records:
        one_block(records)
    store.close()
    with client_of(database) as client:
        assert "Make a fit" in client.get(f"{BOARD}?{AS_OF}").text
        bare = client.get(f"/vineyards/one?{AS_OF}").text
        assert "Nothing was observed here yet" in bare
        answer = client.post(f"/vineyards/one/fit?{AS_OF}")
        assert answer.status_code == 422
        assert "No date of" in answer.text


def test_a_vineyard_takes_its_own_newest_fit(demo_client: TestClient) -> None:
    before = demo_client.get(f"/v1{BOARD}/forecast?{AS_OF}").json()
    assert before["fit"]
    planting = b"block,cultivar,flower_type,x_m,y_m\na,Stray Bell,perfect,0,0\n"
    log = b"season,block,bloom_start\n2024,a,2024-05-02\n2023,a,2023-05-03\n"
    assert demo_client.put(
        "/v1/vineyards/other", json={"name": "Other", "station": "sandlark-mast"}
    ).is_success
    csv = {"content-type": "text/csv"}
    assert demo_client.post("/v1/vineyards/other/planting", content=planting, headers=csv).is_success
    assert demo_client.post("/v1/vineyards/other/bloom-log", content=log, headers=csv).is_success
    made = demo_client.post("/v1/fits", json={"vineyards": ["other"], "search": False}).json()
    after = demo_client.get(f"/v1{BOARD}/forecast?{AS_OF}").json()
    assert after == before
    assert demo_client.get(f"/v1/vineyards/other/forecast?{AS_OF}").json()["fit"] == made["id"]
