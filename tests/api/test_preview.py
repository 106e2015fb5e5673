"""A preview answers what the same request would answer, and stores nothing."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient

from service.settings import Settings
from tests.api.asking import STATION, VINEYARD, Answer, assert_problem, put_vineyard, send_csv
from tests.store.dumping import dump

Ask = Callable[[TestClient, str], Answer]
LOG = "season,block,bloom_start\n2024,b1,2024-05-14\n"
DAYS = "date,tmin_c,tmax_c\n2025-05-01,9,20\n2025-05-02,9,20\n"
PLANTING = "block,cultivar,flower_type,x_m,y_m\n"


@pytest.fixture
def vineyard(client: TestClient) -> TestClient:
    put_vineyard(client)
    send_csv(client, f"{STATION}/temperatures", DAYS)
    send_csv(client, f"{VINEYARD}/bloom-log", LOG)
    client.post(f"{VINEYARD}/visits", json=[{"date": "2025-05-12", "block": "b1", "percent_open": 5}])
    client.put(f"{VINEYARD}/blocks/b2/frost/2025")
    return client


def post(path: str, text: str, **asked: str) -> Ask:
    return lambda client, query: send_csv(
        client, path, text, **asked, **({"preview": "true"} if query else {})
    )


def delete(path: str) -> Ask:
    joined = "&" if "?" in path else "?"
    return lambda client, query: client.delete(path + query.replace("?", joined))


WRITES: dict[str, Ask] = {
    "temperatures": post(f"{STATION}/temperatures", DAYS.replace(",9,", ",8.5,")),
    "outlook": post(f"{STATION}/temperatures", DAYS, kind="outlook", issued_on="2025-05-01"),
    "log": post(f"{VINEYARD}/bloom-log", LOG.replace("14\n", "16\n")),
    "visits": post(f"{VINEYARD}/visits", "date,block,percent_open\n2025-05-12,b1,6\n2025-05-14,b1,9\n"),
    "planting": post(f"{VINEYARD}/planting", PLANTING + "b1,Sedge Anchor,perfect,1,0\n"),
    "station": lambda client, query: client.put(
        STATION + query, json={"name": "Moved", "latitude": 33.0, "longitude": -84.0}
    ),
    "rename": lambda client, query: client.post(f"{VINEYARD}/blocks/b1/rename{query}", json={"to": "east"}),
    "undo": lambda client, query: client.post(f"/v1/changes/5/undo{query}"),
    "delete days": delete(f"{STATION}/temperatures?from=2025-05-01&to=2025-05-01"),
    "delete date": delete(f"{VINEYARD}/bloom-log/2024/b1"),
    "delete frost": delete(f"{VINEYARD}/blocks/b2/frost/2025"),
    "delete block": delete(f"{VINEYARD}/blocks/b1?past=delete"),
    "delete vineyard": delete(VINEYARD),
}


@pytest.mark.parametrize("name", WRITES)
def test_a_preview_answers_the_same_and_stores_nothing(
    vineyard: TestClient, settings: Settings, name: str
) -> None:
    before = dump(settings.database_url, without=())
    preview = WRITES[name](vineyard, "?preview=true")
    assert preview.status_code == 200
    assert "Capfall-Change" not in preview.headers
    assert dump(settings.database_url, without=()) == before
    done = WRITES[name](vineyard, "")
    assert done.json() == preview.json()
    assert "Capfall-Change" in done.headers
    assert dump(settings.database_url, without=()) != before


def test_a_preview_is_refused_as_the_request_would_be(vineyard: TestClient) -> None:
    assert_problem(vineyard.delete(f"{STATION}?preview=true"), 409, "vineyard hollow")
    assert_problem(vineyard.delete(f"{VINEYARD}/blocks/b9?preview=true"), 404, "b9")
    assert_problem(vineyard.delete(f"{VINEYARD}?preview=perhaps"), 422, "query.preview")


def test_fits_are_previewed_too(demo_client: TestClient) -> None:
    [kept] = demo_client.get("/v1/fits").json()["fits"]
    options = {"heat": {"method": "average", "base_c": 9}}
    would = demo_client.post("/v1/fits?preview=true", json=options)
    assert (would.status_code, would.json()["heat"]["base_c"]) == (201, 9.0)
    document = demo_client.get(f"/v1/fits/{kept['id']}/document").json()
    assert demo_client.post("/v1/fits/import?preview=true", json=document).status_code == 201
    assert demo_client.get("/v1/fits").json()["fits"] == [kept]
    spare = demo_client.post(
        "/v1/fits", json={"heat": {"method": "average", "base_c": 8}, "use": False}
    ).json()
    assert demo_client.delete(f"/v1/fits/{spare['id']}?preview=true").json()["rows"] == 1
    assert len(demo_client.get("/v1/fits").json()["fits"]) == 2
    done = demo_client.post("/v1/fits", json=options)
    assert done.json() == would.json()
    assert "Capfall-Change" in done.headers


def test_receipts_tell_the_old_and_the_new_values(vineyard: TestClient) -> None:
    days = WRITES["temperatures"](vineyard, "").json()
    assert days["replaced"] == [
        {"where": f"2025-05-0{day}", "old": {"tmin_c": 9.0}, "new": {"tmin_c": 8.5}} for day in (1, 2)
    ]
    log = WRITES["log"](vineyard, "").json()
    assert log["replaced"] == [
        {"where": "2024 b1 bloom_start", "old": {"date": "2024-05-14"}, "new": {"date": "2024-05-16"}}
    ]
    visits = WRITES["visits"](vineyard, "").json()
    assert visits["replaced"] == [
        {"where": "2025-05-12 b1", "old": {"percent_open": 5.0}, "new": {"percent_open": 6.0}}
    ]
    planting = WRITES["planting"](vineyard, "").json()
    assert planting["replaced"] == [
        {
            "where": "b1",
            "old": {"cultivar": "thimble-ash", "x_m": 0.0},
            "new": {"cultivar": "sedge-anchor", "x_m": 1.0},
        }
    ]


def test_a_long_upload_tells_the_first_twenty_that_it_replaces(vineyard: TestClient) -> None:
    for tmin in (9, 8):
        rows = "".join(f"2025-06-{day:02},{tmin},20\n" for day in range(1, 31))
        receipt = send_csv(vineyard, f"{STATION}/temperatures", f"date,tmin_c,tmax_c\n{rows}").json()
    assert (receipt["rows_replaced"], len(receipt["replaced"])) == (30, 20)


def test_a_planting_of_one_row_names_the_blocks_that_go(vineyard: TestClient) -> None:
    four = "".join(f"b{place},Loam Whistle,perfect,{9 * place},0\n" for place in (2, 3, 4))
    send_csv(vineyard, f"{VINEYARD}/planting", f"{PLANTING}b1,Thimble Ash,pistillate,0,0\n{four}")
    one = f"{PLANTING}b3,Loam Whistle,perfect,27,0\n"
    would = send_csv(vineyard, f"{VINEYARD}/planting", one, preview="true").json()
    assert (would["blocks_removed"], would["blocks_unchanged"]) == (["b1", "b2", "b4"], 1)
    assert would["warnings"] == [
        "block b1 goes; what was seen there is kept for the fits",
        "block b2 goes; what was seen there is kept for the fits",
    ]
    assert len(vineyard.get(f"{VINEYARD}/blocks").json()["blocks"]) == 4
    done = send_csv(vineyard, f"{VINEYARD}/planting", one)
    assert done.json() == would
    assert [block["block"] for block in vineyard.get(f"{VINEYARD}/blocks").json()["blocks"]] == ["b3"]
    assert len(vineyard.get(f"{VINEYARD}/visits").json()["visits"]) == 1
    vineyard.post(f"/v1/changes/{done.headers['Capfall-Change']}/undo")
    assert len(vineyard.get(f"{VINEYARD}/blocks").json()["blocks"]) == 4
