"""What was written is listed, and taken back, over HTTP."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

import pytest
from fastapi.testclient import TestClient

from tests.api.asking import STATION, VINEYARD, Answer, assert_problem, put_vineyard, send_csv

DEMO = "/v1/vineyards/sandlark-bend"
MAST = "/v1/stations/sandlark-mast"
SEEN = {"date": "2025-05-12", "block": "b1", "percent_open": 5.0}


@pytest.fixture
def vineyard(client: TestClient) -> TestClient:
    put_vineyard(client)
    return client


def change_of(answer: Answer) -> int:
    """The change that a request made."""
    assert answer.status_code in (200, 201), answer.text
    return int(answer.headers["Capfall-Change"])


def changes(client: TestClient, query: str = "") -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = client.get(f"/v1/changes{query}").json()["changes"]
    return found


def undo(client: TestClient, change: int) -> Answer:
    return client.post(f"/v1/changes/{change}/undo")


def test_a_write_names_its_change_and_what_changes_nothing_names_none(vineyard: TestClient) -> None:
    assert [each["change"] for each in changes(vineyard)] == [3, 2, 1]
    first = vineyard.post(f"{VINEYARD}/visits", json=[SEEN])
    assert change_of(first) == 4
    again = vineyard.post(f"{VINEYARD}/visits", json=[SEEN])
    assert again.json()["rows_unchanged"] == 1
    refused = vineyard.post(f"{VINEYARD}/visits", json=[{**SEEN, "block": "b9"}])
    for answer in (again, refused, vineyard.get(f"{VINEYARD}/visits")):
        assert "Capfall-Change" not in answer.headers
    assert len(changes(vineyard)) == 4


def test_changes_are_told_in_words(vineyard: TestClient) -> None:
    start = dt.datetime.now(dt.UTC)
    vineyard.post(f"{VINEYARD}/visits", json=[SEEN, {**SEEN, "block": "b2"}])
    vineyard.delete(f"{VINEYARD}/blocks/b1")
    vineyard.post(f"{VINEYARD}/blocks/b2/rename", json={"to": "east"})
    undo(vineyard, 5)
    told = changes(vineyard)
    assert [(each["what"], each["rows"]) for each in told] == [
        ("Change 5 undone: block b1 added in vineyard hollow.", 1),
        (
            "Block b2 of vineyard hollow renamed to east: 1 block added, 1 block deleted, 1 visit added and "
            "1 visit deleted in vineyard hollow.",
            4,
        ),
        ("Block b1 deleted in vineyard hollow.", 1),
        ("2 visits added in vineyard hollow.", 2),
        (
            "Planting file of vineyard hollow: cultivars loam-whistle and thimble-ash added; 2 blocks added in "
            "vineyard hollow.",
            4,
        ),
        ("Vineyard hollow added.", 1),
        ("Station hollow-gauge added.", 1),
    ]
    assert [each["undone"] for each in told[:3]] == [False, False, True]
    assert (told[0]["undoes"], told[2]["undone_by"]) == (5, 7)
    assert all(each["by"] == "local" for each in told)
    assert start <= dt.datetime.fromisoformat(told[0]["at"]) <= dt.datetime.now(dt.UTC)


def test_changes_are_filtered_and_come_page_by_page_or_as_csv(vineyard: TestClient) -> None:
    send_csv(vineyard, f"{STATION}/temperatures", "date,tmin_c,tmax_c\n2025-05-01,9,20\n")
    assert [each["change"] for each in changes(vineyard, "?vineyard=hollow")] == [3, 2]
    assert [each["change"] for each in changes(vineyard, "?station=hollow-gauge")] == [4, 1]
    assert changes(vineyard, "?vineyard=other") == []
    fourth = changes(vineyard)[0]["at"]
    assert [
        each["change"] for each in vineyard.get("/v1/changes", params={"since": fourth}).json()["changes"]
    ] == [4]
    assert len(changes(vineyard, "?since=2020-01-01")) == 4
    assert changes(vineyard, "?since=2999-01-01") == []
    first = vineyard.get("/v1/changes?limit=3").json()
    second = vineyard.get(f"/v1/changes?limit=3&cursor={first['next']}").json()
    assert [each["change"] for page in (first, second) for each in page["changes"]] == [4, 3, 2, 1]
    assert second["next"] is None
    table = vineyard.get("/v1/changes?limit=1", headers={"Accept": "text/csv"})
    assert table.text.startswith("change,at,by,what,rows,undone,undone_by,undoes\n4,")
    assert f"cursor={vineyard.get('/v1/changes?limit=1').json()['next']}" in table.headers["link"].replace(
        "%3D", "="
    )
    assert_problem(vineyard.get("/v1/changes?cursor=nonsense"), 422, "query.cursor")
    of_stations = vineyard.get("/v1/vineyards").json()
    assert of_stations["next"] is None


def test_a_wrong_visit_is_taken_back_and_the_forecast_with_it(demo_client: TestClient) -> None:
    forecast = f"{DEMO}/forecast?as_of=2026-05-20"
    before = demo_client.get(forecast).content
    wrong = demo_client.post(
        f"{DEMO}/visits",
        json=[{"date": "2026-05-19", "block": "west-2", "percent_open": 100, "observer": "Ida"}],
    )
    assert demo_client.get(forecast).content != before
    undone = undo(demo_client, change_of(wrong))
    assert undone.json() == {
        "what": f"Change {change_of(wrong)} undone: visit 2026-05-19 west-2 Ida deleted in vineyard sandlark-bend.",
        "rows": 1,
        "written": {"visits deleted": 1},
    }
    assert demo_client.get(forecast).content == before
    redone = undo(demo_client, change_of(undone))
    assert redone.json()["written"] == {"visits added": 1}
    assert demo_client.get(forecast).content != before
    assert_problem(undo(demo_client, change_of(undone)), 409, f"undone by change {change_of(redone)}")


def test_undoing_what_a_later_change_needs_names_it(vineyard: TestClient) -> None:
    cultivar = vineyard.put("/v1/cultivars/late-lull", json={"name": "Late Lull", "flower_type": "perfect"})
    block = vineyard.put(f"{VINEYARD}/blocks/b9", json={"cultivar": "late-lull", "x_m": 0, "y_m": 9})
    moved = vineyard.put(f"{VINEYARD}/blocks/b9", json={"cultivar": "late-lull", "x_m": 1, "y_m": 9})
    refused = assert_problem(undo(vineyard, change_of(cultivar)), 409, "needed-later")
    assert refused["errors"] == [
        {"where": f"change {change_of(moved)}", "problem": "block b9 of vineyard hollow needs what would go"}
    ]
    refused = assert_problem(undo(vineyard, change_of(block)), 409, f"undo change {change_of(moved)} first")
    assert refused["errors"] == [
        {"where": f"change {change_of(moved)}", "problem": "it wrote block b9 of vineyard hollow"}
    ]
    for change in (moved, block, cultivar):
        assert undo(vineyard, change_of(change)).status_code == 200
    assert vineyard.get("/v1/cultivars/late-lull").status_code == 404
    assert_problem(undo(vineyard, 99), 404, "change")
    assert_problem(undo(vineyard, 0), 422, "path.change")


def test_a_vineyard_comes_back_with_all_that_was_in_it(demo_client: TestClient) -> None:
    pages = (
        f"{DEMO}/forecast?as_of=2026-05-20",
        f"{DEMO}/visits",
        f"{DEMO}/bloom-log",
        f"{DEMO}/blocks",
        DEMO,
    )
    before = [demo_client.get(page).content for page in pages]
    gone = demo_client.delete(DEMO)
    assert gone.json()["written"] == {
        "bloom log dates deleted": len_of_log(before[2]),
        "blocks deleted": 13,
        "fits in use deleted": 1,
        "vineyards deleted": 1,
        "visits deleted": before[1].count(b'"visit":'),
    }
    assert demo_client.get(DEMO).status_code == 404
    station = demo_client.delete(MAST)
    assert station.status_code == 200
    assert_problem(undo(demo_client, change_of(gone)), 409, "sandlark-mast")
    assert undo(demo_client, change_of(station)).status_code == 200
    assert undo(demo_client, change_of(gone)).status_code == 200
    assert [demo_client.get(page).content for page in pages] == before


def len_of_log(answer: bytes) -> int:
    return sum(len(row["dates"]) for row in json.loads(answer)["rows"])


def test_a_preview_of_an_undo_stores_nothing(vineyard: TestClient) -> None:
    preview = vineyard.post("/v1/changes/3/undo?preview=true")
    assert preview.json()["written"] == {"blocks deleted": 2, "cultivars deleted": 2}
    assert "Capfall-Change" not in preview.headers
    assert len(changes(vineyard)) == 3
    assert len(vineyard.get(f"{VINEYARD}/blocks").json()["blocks"]) == 2
