"""Set counts over HTTP: taken, shown, undone, and laid beside cover."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fastapi.testclient import TestClient

from service.words.plain import percent
from tests.api import past_seasons as past
from tests.api.asking import VINEYARD, assert_problem, put_vineyard, send_csv
from tests.conftest import client_of

COUNTS = f"{VINEYARD}/set-counts"
HEADER = "date,block,cluster,flowers,berries\n"
ROWS = "2025-05-18,b1,1,50,\n2025-05-18,b1,2,60,\n2025-06-25,b1,1,,10\n2025-06-25,b1,2,,18\n"


def shown(client: TestClient) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = client.get(COUNTS).json()["set_counts"]
    return found


def told(client: TestClient) -> dict[str, Any]:
    answer = client.get(f"{VINEYARD}/set")
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


def test_counts_from_a_file_become_set_beside_what_was_published(client: TestClient) -> None:
    put_vineyard(client)
    receipt = send_csv(client, COUNTS, HEADER + ROWS)
    assert receipt.status_code == 200, receipt.text
    assert receipt.json()["rows_stored"] == 4
    (block,) = told(client)["blocks"]
    assert (block["season"], block["block"], block["clusters"]) == (2025, "b1", 2)
    assert (block["flowers"], block["berries"]) == (110, 28)
    assert block["set"] == pytest.approx(28 / 110, abs=1e-3)
    assert block["low"] < block["set"] < block["high"]
    assert block["cover"] is None  # no fit
    assert any("22 to 34 %" in each and "Gupton" in each for each in told(client)["published"])
    assert told(client)["claim"]["verdict"] == "too_few"
    assert "assumed" in told(client)["claim"]["said"]
    text = client.get(f"{VINEYARD}/set", headers={"Accept": "text/csv"}).text
    assert text.splitlines()[1].startswith("2025,b1,thimble-ash,2,110,28,0.255,")


def test_counts_go_out_as_csv_and_in_again_and_are_undone(client: TestClient) -> None:
    put_vineyard(client)
    preview = client.post(
        f"{COUNTS}?preview=true", headers={"Content-Type": "text/csv"}, content=HEADER + ROWS
    )
    assert preview.json()["rows_stored"] == 4
    assert shown(client) == []
    change = send_csv(client, COUNTS, HEADER + ROWS).headers["Capfall-Change"]
    text = client.get(COUNTS, headers={"Accept": "text/csv"}).text
    assert send_csv(client, COUNTS, text.replace(",count", ",note")).json()["rows_unchanged"] == 4
    (first, *_) = shown(client)
    more = {"date": first["date"], "block": "b1", "cluster": "1", "flowers": 55}
    replaced = client.post(COUNTS, json=[more])
    assert replaced.json()["rows_replaced"] == 1
    assert shown(client)[0] == {**first, "flowers": 55}
    assert client.post(f"/v1/changes/{replaced.headers['Capfall-Change']}/undo").status_code == 200
    assert shown(client)[0] == first
    deleted = client.delete(f"{COUNTS}/{first['count']}")
    assert deleted.json()["written"] == {"set counts deleted": 1}
    assert [each["why"] for each in told(client)["left_out"]] == [
        "no flowers were counted before its berries"
    ]
    assert client.post(f"/v1/changes/{deleted.headers['Capfall-Change']}/undo").status_code == 200
    assert client.post(f"/v1/changes/{change}/undo").status_code == 200
    assert shown(client) == []


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("2025-05-18,b9,1,50,", "b9"),
        ("2025-05-18,b1,,50,", "cluster"),
        ("2025-05-18,b1,1,,", "neither flowers nor berries"),
        ("2025-05-18,b1,1,50,51", "51 berries are more than 50 flowers"),
        ("2025-05-18,b1,1,many,", "flowers"),
        ("2099-05-18,b1,1,50,", "2099"),
    ],
)
def test_a_count_that_cannot_be_is_named_by_its_line(client: TestClient, row: str, said: str) -> None:
    put_vineyard(client)
    problem = assert_problem(send_csv(client, COUNTS, f"{HEADER}{row}\n"), 422, said)
    assert "2" in problem["errors"][0]["where"]
    assert shown(client) == []


def test_a_count_that_contradicts_another_is_refused(client: TestClient) -> None:
    put_vineyard(client)
    one = {"date": "2025-05-18", "block": "b1", "cluster": "1", "flowers": 5}
    assert_problem(client.post(COUNTS, json=[one, {**one, "flowers": 6}]), 422, "body.1")
    assert_problem(client.delete(f"{COUNTS}/nothing"), 404, "set count")


def test_what_a_count_does_not_tell_stays_as_it_was(client: TestClient) -> None:
    put_vineyard(client)
    one = {"date": "2025-05-18", "block": "b1", "cluster": "1"}
    client.post(COUNTS, json=[{**one, "flowers": 120}])
    client.post(COUNTS, json=[{**one, "berries": 50}])
    assert [(each["flowers"], each["berries"]) for each in shown(client)] == [(120, 50)]
    client.post(COUNTS, json=[{**one, "flowers": 110}])
    assert [(each["flowers"], each["berries"]) for each in shown(client)] == [(110, 50)]


@pytest.fixture(scope="module")
def grower(migrated_database: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """Twelve seasons of a log, and a fit."""
    copy = tmp_path_factory.mktemp("set") / "capfall.db"
    copy.write_bytes(migrated_database.read_bytes())
    with client_of(copy) as client:
        past.plant(client)
        heats = past.block_heats(np.random.default_rng(4), between_seasons=20.0, within=25.0)
        past.send(client, "bloom-log", past.log_csv(past.days_of(heats)))
        past.fitted(client)
        yield client


TODAY = f"{past.THIS_SEASON}-05-01"


def cautions(client: TestClient, as_of: str = TODAY) -> list[str]:
    answer = client.get(f"{VINEYARD}/pollination", params={"as_of": as_of})
    assert answer.status_code == 200, answer.text
    found: list[str] = answer.json()["cautions"]
    return found


def test_set_that_follows_cover_is_found_to_and_set_that_does_not_is_not(grower: TestClient) -> None:
    def send(berries: dict[tuple[int, str], int]) -> dict[str, Any]:
        rows = [f"{season}-04-01,{block},1,400,{count}\n" for (season, block), count in berries.items()]
        assert send_csv(grower, COUNTS, HEADER + "".join(rows)).status_code == 200
        return told(grower)

    even = {(season, block): 100 for season in past.SEASONS for block in "bcd"}
    first = send(even)
    cover = {(each["season"], each["block"]): each["cover"] for each in first["blocks"]}
    assert cover.keys() == even.keys()
    assert min(cover.values()) < 0.7 < max(cover.values())
    assert first["claim"]["verdict"] == "not_shown"
    assert any("not shown that cover explains it" in said for said in cautions(grower))
    assert any("let set decide" in said for said in cautions(grower))
    found = send({key: round(400 * (0.1 + 0.2 * share)) for key, share in cover.items()})["claim"]
    (said,) = [
        said for said in cautions(grower) if "cover explains set (36 blocks in 12 seasons counted)" in said
    ]
    without, full = (percent(found["effect"][name]) for name in ("set_without", "set_with"))
    assert f"without cover {without} of the flowers would set, with full cover {full}" in said
    assert not any("let set decide" in said for said in cautions(grower))
    # what was counted after the day that is asked for is not known on it
    past_day = f"{past.SEASONS[2]}-05-01"
    assert not any("cover explains set" in said for said in cautions(grower, past_day))
    assert any("let set decide" in said for said in cautions(grower, past_day))
    page = grower.get("/vineyards/hollow", params={"as_of": TODAY}).text
    assert "counted, not assumed" in page
    assert found["verdict"] == "explains"
    assert (found["blocks"], found["seasons"]) == (36, 12)
    assert found["effect"]["set_without"] == pytest.approx(0.1, abs=0.02)
    assert found["effect"]["set_with"] == pytest.approx(0.3, abs=0.03)
    for days, truth in (("receptive_days", 3), ("pollen_days", 2)):
        assert abs(found[days]["best"] - truth) <= 1
        assert found[days]["low"] <= truth <= found[days]["high"]
