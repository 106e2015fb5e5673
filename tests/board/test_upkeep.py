"""All upkeep by page: each write is previewed or told, moves what the API answers, and can be undone."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest
from fastapi.testclient import TestClient
from httpx2 import Response

import demo_weather

BOARD = f"/vineyards/{demo_weather.VINEYARD.key}"
API = f"/v1{BOARD}"
MAST = f"/v1/stations/{demo_weather.STATION.key}"
TWO_DAYS = b"date,tmin_c,tmax_c\n2026-05-20,16,29\n2026-05-21,16.5,29.5\n"


def sent(client: TestClient, path: str, told: Mapping[str, Any], **files: bytes) -> Response:
    answer = client.post(
        BOARD + path,
        data=told,
        files={name: (f"{name}.csv", data) for name, data in files.items()},
        follow_redirects=False,
    )
    assert isinstance(answer, Response)
    return answer


def undo(client: TestClient, written: Response) -> None:
    """Press the button of the page that a write leads to."""
    assert written.status_code == 303, written.text
    page = client.get(written.headers["location"])
    change = written.headers["capfall-change"]
    assert f'action="/changes/{change}/undo"' in page.text
    undone = client.post(f"/changes/{change}/undo", data={"back": f"{BOARD}/changes"}, follow_redirects=False)
    assert undone.status_code == 303
    assert undone.headers["location"].startswith(f"{BOARD}/changes?change=")


def test_without_script_refused_files_are_to_be_chosen_again(demo_client: TestClient) -> None:
    refused = sent(
        demo_client, "/data", {"step": "preview"}, visits=b"date,block,percent_open\n2026-05-20,nowhere,3\n"
    )
    assert refused.status_code == 422
    assert "<noscript>Choose the files again.</noscript>" in refused.text
    assert "<span data-scripted hidden>The files stay chosen" in refused.text


def through(client: TestClient) -> str:
    """The last measured day."""
    return str(client.get(f"{MAST}/temperatures").json()["days"][-1]["date"])


def test_files_are_looked_over_stored_and_undone(demo_client: TestClient) -> None:
    told = {"step": "preview", "issued_on": "2026-05-22"}
    files = {
        "temperatures": TWO_DAYS,
        "outlook": TWO_DAYS.replace(b"-20,", b"-22,").replace(b"-21,", b"-23,"),
    }
    over = sent(demo_client, "/data", told, **files)
    assert "This would be stored" in over.text
    assert "2 new, 0 changed, 0 as before" in over.text
    assert through(demo_client) == "2026-05-19"
    stored = sent(demo_client, "/data", told | {"step": "apply"}, **files)
    assert through(demo_client) == "2026-05-21"
    assert demo_client.get(f"{API}/forecast?as_of=2026-05-22").json()["outlook_through"] == "2026-05-23"
    undo(demo_client, stored)
    assert through(demo_client) == "2026-05-19"


def test_the_faults_of_all_files_are_told_at_once_and_nothing_is_stored(demo_client: TestClient) -> None:
    answer = sent(
        demo_client,
        "/data",
        {"step": "apply"},
        temperatures=TWO_DAYS + b"2026-05-32,1,2\n",
        visits=b"date,block,percent_open\n2026-05-19,nowhere,3\n",
        bloom_log=b"season,block,bloom_start\n2025,west-1,soon\n",
        outlook=TWO_DAYS,
    )
    assert answer.status_code == 422
    for said in ("Nothing was stored", "Line 4", "nowhere", "soon", "say when it was issued"):
        assert said in answer.text
    assert through(demo_client) == "2026-05-19"


def test_a_planting_that_would_lose_a_block_says_so_first(demo_client: TestClient) -> None:
    planting = demo_weather.files()["planting.csv"].replace(b"east-2,Quiet Spindle", b"east-9,Quiet Spindle")
    over = sent(demo_client, "/data", {"step": "preview"}, planting=planting)
    assert "east-2 leaves the planting" in over.text
    assert demo_client.get(f"{API}/blocks/east-2").status_code == 200


def test_a_visit_is_changed_deleted_and_brought_back(demo_client: TestClient) -> None:
    kept = demo_client.get(f"{API}/visits").json()["visits"][0]
    path = f"/visits/{kept['visit']}"
    assert f'href="{BOARD}{path}"' in demo_client.get(f"{BOARD}/visits").text
    told = {"block": kept["block"], "date": kept["date"], "percent_open": "33", "note": kept["note"] or ""}
    changed = sent(demo_client, path, told)
    assert demo_client.get(f"{API}{path}").json()["percent_open"] == 33
    undo(demo_client, changed)
    assert demo_client.get(f"{API}{path}").json() == kept
    undo(demo_client, sent(demo_client, path, {"do": "delete"}))
    assert demo_client.get(f"{API}{path}").json() == kept
    wrong = sent(demo_client, path, told | {"percent_open": "133"})
    assert wrong.status_code == 422


def log_of(client: TestClient, season: int, block: str) -> dict[str, tuple[str, int]]:
    rows = client.get(f"{API}/bloom-log?season={season}&block={block}").json()["rows"]
    return {stage: (date, row["checked_every_days"]) for row in rows for stage, date in row["dates"].items()}


def test_a_cell_of_the_log_is_written_and_a_single_date_deleted(demo_client: TestClient) -> None:
    before = log_of(demo_client, 2024, "west-3")
    page = demo_client.get(f"{BOARD}/log").text
    assert f'href="{BOARD}/log/entry?season=2024&amp;of=block&amp;key=west-3"' in page
    every = str(before["bloom_start"][1])
    fields = {stage: date for stage, (date, _) in before.items()} | {"checked_every_days": every}
    fields |= {"bloom_start": "2024-05-12", "bloom_end": ""}
    stored = sent(demo_client, "/log/entry?season=2024&key=west-3", fields)
    after = log_of(demo_client, 2024, "west-3")
    assert after.pop("bloom_start") == ("2024-05-12", int(every))
    assert after == {name: told for name, told in before.items() if name not in ("bloom_start", "bloom_end")}
    undo(demo_client, stored)
    assert log_of(demo_client, 2024, "west-3") == before
    odd = sent(demo_client, "/log/entry?season=2024&key=west-3", {"bloom_start": "2023-05-12"})
    assert odd.status_code == 422
    assert 'name="confirm"' not in demo_client.get(f"{BOARD}/log/entry?season=2024&key=west-3").text
    ahead = {"bloom_start": "2090-05-12"}
    doubtful = sent(demo_client, "/log/entry?season=2090&key=west-3", ahead)
    assert doubtful.status_code == 422
    assert 'value="2090-05-12"' in doubtful.text
    assert 'name="confirm" value="dates"' in doubtful.text
    undo(demo_client, sent(demo_client, "/log/entry?season=2090&key=west-3", ahead | {"confirm": "dates"}))


def test_a_block_is_renamed_added_and_taken_out(demo_client: TestClient) -> None:
    block = demo_client.get(f"{API}/blocks/west-1").json()
    told = {
        "block": "west-1",
        "name": "Old West",
        "cultivar": "wren-anvil",
        "x": "0",
        "y": "0",
        "vines": "12",
    }
    renamed = sent(demo_client, "/block", told)
    assert demo_client.get(f"{API}/blocks/old-west").json()["vines"] == 12
    assert log_of(demo_client, 2024, "old-west")
    undo(demo_client, renamed)
    assert demo_client.get(f"{API}/blocks/west-1").json() == block
    new = {"name": "south", "new_cultivar": "Fern Ladder", "flower_type": "perfect", "x": "100", "unit": "ft"}
    added = sent(demo_client, "/block", new)
    south = demo_client.get(f"{API}/blocks/south").json()
    assert (south["cultivar"], south["x_m"]) == ("fern-ladder", pytest.approx(30.48))
    assert sent(demo_client, "/block", new).status_code == 422  # the name is taken
    undo(demo_client, added)
    assert demo_client.get(f"{API}/blocks/south").status_code == 404
    undo(demo_client, sent(demo_client, "/block", {"block": "west-1", "do": "delete"}))
    assert demo_client.get(f"{API}/blocks/west-1").json() == block


def test_settings_station_and_the_whole_vineyard(demo_client: TestClient) -> None:
    before = demo_client.get(API).json()
    told = {"name": "Lower Bend", "station": "sandlark-mast", "reach": "100", "reach_unit": "ft"}
    changed = sent(demo_client, "/settings", told | {"weekdays": ["tue", "fri"]})
    after = demo_client.get(API).json()
    assert (after["name"], after["scouting_weekdays"]) == ("Lower Bend", ["tue", "fri"])
    assert after["reach_m"] == pytest.approx(30.48)
    undo(demo_client, changed)
    assert demo_client.get(API).json() == before
    place = {"name": "Mast", "latitude": "31.2", "longitude": "-87.3"}
    moved = sent(demo_client, "/station", place | {"station": "sandlark-mast"})
    assert demo_client.get(MAST).json()["latitude"] == 31.2
    undo(demo_client, moved)
    south = sent(demo_client, "/station", place | {"station": "sandlark-mast", "latitude": "-31.2"})
    assert south.status_code == 422  # its seasons would be turned round
    assert 'name="confirm" value="latitude"' in south.text
    assert 'value="-31.2"' in south.text
    assert 'name="confirm"' not in demo_client.get(f"{BOARD}/settings").text
    sure = {"station": "sandlark-mast", "latitude": "-31.2", "confirm": "latitude"}
    undo(demo_client, sent(demo_client, "/station", place | sure))
    undo(demo_client, sent(demo_client, "/station", place | {"name": "Second Mast"}))
    assert demo_client.get(API).json() == before
    gone = sent(demo_client, "/delete", {})
    assert demo_client.get(API).status_code == 404
    undo(demo_client, gone)
    assert demo_client.get(API).json() == before


def test_a_field_sheet_is_typed_back_in_one_table(demo_client: TestClient) -> None:
    page = demo_client.get(f"{BOARD}/sheet?as_of=2026-05-20&trip=2026-05-24").text
    assert "trip of Sunday 24 May 2026" in page
    assert "Caps off in west-2, per cent" in page
    assert "Caps off in north-1, per cent" not in page
    told = {"date": "2026-05-20", "block": ["west-2", "west-3", "west-4"], "note": ["", "bees", ""]}
    typed = sent(demo_client, "/sheet", told | {"percent_open": ["10", "40 %", ""]})
    seen = demo_client.get(f"{API}/visits?from=2026-05-20").json()["visits"]
    assert [(each["block"], each["percent_open"], each["note"]) for each in seen] == [
        ("west-2", 10, None),
        ("west-3", 40, "bees"),
    ]
    undo(demo_client, typed)
    wrong = sent(demo_client, "/sheet", told | {"percent_open": ["10", "140", ""]})
    assert wrong.status_code == 422
    assert demo_client.get(f"{API}/visits?from=2026-05-20").json()["visits"] == []


@pytest.mark.parametrize(
    "back", ["//elsewhere.example/", "https://elsewhere.example/", "/\\elsewhere.example"]
)
def test_an_undo_leads_back_to_our_own_pages_alone(back: str, demo_client: TestClient) -> None:
    written = sent(demo_client, "/visits/none", {"do": "delete"})
    assert written.status_code == 404
    change = sent(demo_client, "/delete", {}).headers["capfall-change"]
    undone = demo_client.post(f"/changes/{change}/undo", data={"back": back}, follow_redirects=False)
    assert undone.headers["location"].startswith("/?change=")
