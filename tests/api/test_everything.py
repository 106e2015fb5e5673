"""A grower's everything: out as one file, in again to the same answers, deleted for good."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

import demo_weather
from service.store import Store
from tests.access.conftest import Door, door, url
from tests.api.asking import STATION, VINEYARD, Answer, assert_problem, put_vineyard, send_csv
from tests.conftest import client_of
from tests.hindcast.test_over_http import fitted, followed
from tests.store.dumping import dump

__all__ = ["door", "url"]

JSON_LINES = {"Content-Type": "application/x-ndjson"}
HOME = f"/v1/vineyards/{demo_weather.VINEYARD.key}"
MORNING = dt.datetime.combine(demo_weather.AS_OF, dt.time(15), dt.UTC)
EARLIER = demo_weather.AS_OF - dt.timedelta(days=9)
ANSWERS = (
    f"{HOME}/forecast",
    f"{HOME}/forecast?as_of={EARLIER}&interval=0.5",
    f"{HOME}/pollination",
    f"{HOME}/scouting",
    f"{HOME}/planting-check",
    f"{HOME}/visits",
    f"{HOME}/bloom-log",
    f"{HOME}/set-counts",
    f"{HOME}/crop-counts",
    f"{HOME}/frost",
    f"{HOME}/fit",
    f"{HOME}/season-review",
    f"{HOME}/news?since={EARLIER}",
    "/v1/fits",
    "/v1/changes",
)


def take_in(client: TestClient, content: str | bytes, **query: Any) -> Answer:
    return client.post("/v1/import", params=query, headers=JSON_LINES, content=content)


def export(client: TestClient) -> str:
    answer = client.get("/v1/export")
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/x-ndjson"
    return answer.text


def without_head(told: str) -> str:
    return told.partition("\n")[2]


def live(client: TestClient) -> None:
    """A little of everything, on top of the demo."""
    block = client.get(f"{HOME}/blocks").json()["blocks"][0]["block"]
    look = {
        "date": f"{EARLIER}",
        "block": block,
        "percent_open": 7.3,
        "observer": "Ida",
        "note": "Süd, ½ Reihe",
    }
    wrong = client.post(f"{HOME}/visits", json=[{**look, "percent_open": 70.1}])
    assert wrong.is_success, wrong.text
    assert client.post(f"{HOME}/visits", json=[look]).is_success
    slip = client.post(f"{HOME}/visits", json=[{**look, "observer": "Ann"}])
    assert client.post(f"/v1/changes/{slip.headers['Capfall-Change']}/undo").is_success
    count = {"date": f"{EARLIER}", "block": block, "cluster": "red 1", "flowers": 41}
    assert client.post(f"{HOME}/set-counts", json=[count]).is_success
    canes = {"date": f"{EARLIER}", "block": block, "cane": "red 1", "clusters": 14}
    assert client.post(f"{HOME}/crop-counts", json=[canes]).is_success
    assert client.put(f"{HOME}/blocks/{block}/frost/2019", json={"share_killed": 0.4}).is_success
    grown = client.get(f"{HOME}/blocks/{block}").json()["cultivar"]
    note = {"source": grown, "text": "½ as many, für Süd", "reference": "a leaf"}
    told = {"pollen_quality": 0.7, "flowers_a_vine": 1234.5, "pollen_notes": [note]}
    assert client.patch(f"/v1/cultivars/{grown}", json=told).is_success
    limits = {"limits_c": {"budbreak": -2.25}, "source": "ours, für Süd"}
    assert client.patch(HOME, json={"frost_limits": limits, "colder_than_station_c": 1.7}).is_success
    assert client.patch(f"{HOME}/blocks/{block}", json={"colder_than_station_c": 2.3}).is_success
    assert client.patch(
        HOME, json={"scouting_weekdays": ["mon", "thu"], "timezone": "America/Chicago"}
    ).is_success
    assert client.post(f"{HOME}/news").is_success
    assert client.get(f"{HOME}/calendar.ics").is_success


def test_everything_comes_to_the_same_answers_elsewhere(
    demo_client: TestClient, client: TestClient, door: Door, set_clock: Callable[[dt.datetime], None]
) -> None:
    """From SQLite to each kind of database, to another grower, and back."""
    set_clock(MORNING)
    live(demo_client)
    told = export(demo_client)
    before = {path: demo_client.get(path).text for path in ANSWERS}
    assert all("/problems/" not in text for text in before.values())
    calendar = demo_client.get(f"{HOME}/calendar.ics").text
    set_clock(MORNING + dt.timedelta(hours=1))

    ann, bea = door.client_of("manage", "ann"), door.client_of("manage", "bea")
    answer = take_in(bea, told)
    assert answer.status_code == 201, answer.text
    assert answer.json()["rows"]["calendar_events"] > 3
    assert {path: bea.get(path).text for path in ANSWERS} == before
    there = bea.get(f"{HOME}/calendar.ics").text
    lines = [
        [line for line in text.split("\r\n") if not line.startswith("UID:")] for text in (calendar, there)
    ]
    assert lines[0] == lines[1]
    back = export(bea)
    assert without_head(back) == without_head(told)
    assert json.loads(back.partition("\n")[0])["grower"] == "bea"
    assert ann.get("/v1/vineyards").json()["vineyards"] == []

    assert take_in(client, back).status_code == 201
    assert {path: client.get(path).text for path in ANSWERS} == before
    assert client.get(f"{HOME}/calendar.ics").text == calendar
    newest = client.get("/v1/changes").json()["changes"][0]
    assert client.post(f"/v1/changes/{newest['change']}/undo").is_success  # what was replaced came along


@pytest.mark.slow
def test_a_kept_hindcast_comes_along(client: TestClient, tmp_path: Path) -> None:
    fit = fitted(client)
    job = client.post(f"{fit}/hindcast", json={"leads": [7]}).json()["job"]
    told, _ = followed(client, f"/v1/jobs/{job}")
    assert told["state"] == "done", told
    report = client.get(f"{fit}/hindcast").text
    moved = export(client)
    other = tmp_path / "other.db"
    Store(f"sqlite:///{other}").migrate()
    with client_of(other) as elsewhere:
        assert take_in(elsewhere, moved).status_code == 201
        assert elsewhere.get(f"{fit}/hindcast").text == report
        assert elsewhere.get(f"/v1/jobs/{job}").json() == told


def small(client: TestClient) -> str:
    """The export of a grower with a little, its changes too."""
    put_vineyard(client)
    days = "date,tmin_c,tmax_c\n2026-04-01,4.1,15\n2026-04-02,5,17.3\n"
    look = {"date": "2026-05-20", "block": "b1", "percent_open": 12}
    for done in (
        send_csv(client, f"{STATION}/temperatures", days),
        client.post(f"{VINEYARD}/visits", json=[look]),
        client.delete(f"{STATION}/temperatures", params={"from": "2026-04-02", "to": "2026-04-02"}),
    ):
        assert done.status_code == 200, done.text
    return export(client)


def test_a_grower_with_data_takes_nothing_in(door: Door) -> None:
    ann, bea = door.client_of("manage", "ann"), door.client_of("manage", "bea")
    told = small(ann)
    assert bea.put("/v1/cultivars/dusk", json={"name": "Dusk", "flower_type": "perfect"}).is_success
    problem = assert_problem(take_in(bea, told), 409, "data of its own")
    assert problem["errors"] == [
        {"where": name, "problem": "1 stored"} for name in ("change_rows", "changes", "cultivars")
    ]
    assert bea.get("/v1/vineyards").json()["vineyards"] == []
    assert bea.delete("/v1/data", params={"confirm": "bea"}).is_success
    would = take_in(bea, told, preview=True)
    assert would.status_code == 201
    assert bea.get("/v1/vineyards").json()["vineyards"] == []
    assert take_in(bea, told).json() == would.json()
    assert without_head(export(bea)) == without_head(told)


def test_deleting_everything_needs_the_growers_name_and_leaves_nothing_of_that_grower(
    door: Door, url: str
) -> None:
    ann, bea = door.client_of("manage", "ann"), door.client_of("manage", "bea")
    empty = dump(url, without=())
    small(bea)
    others = export(bea)
    small(ann)
    for wrong in ("", "bea", "Ann"):
        assert_problem(ann.delete("/v1/data", params={"confirm": wrong}), 422, "say the grower's name: ann")
    assert_problem(ann.delete("/v1/data"), 422, "confirm")
    would = ann.delete("/v1/data", params={"confirm": "ann", "preview": True}).json()
    assert would["rows"]["visits"] == 1
    assert ann.get(VINEYARD).is_success
    assert ann.delete("/v1/data", params={"confirm": "ann"}).json() == would
    assert ann.get("/v1/me").is_success
    assert export(bea) == others
    assert bea.delete("/v1/data", params={"confirm": "bea"}).is_success
    assert dump(url, without=()) == empty


def test_while_a_job_has_not_ended_nothing_is_deleted(client: TestClient) -> None:
    put_vineyard(client)
    with client.app.state.store.transaction("local") as records:  # type: ignore[attr-defined]
        records.jobs.add("j1", "other")
    assert_problem(client.delete("/v1/data", params={"confirm": "local"}), 409, "job j1, which has not ended")
    assert '"j1"' not in export(client)


Change = Callable[[list[Any]], None]


def edited(told: str, table: str, column: str, value: Any) -> str:
    """The export with another value in the first row of a table."""
    lines = [json.loads(line) for line in told.splitlines()]
    line = next(line for line in lines if line.get("table") == table)
    line["rows"][0][line["columns"].index(column)] = value
    return "\n".join(json.dumps(each) for each in lines)


@pytest.mark.parametrize(
    ("table", "column", "value"),
    [
        ("stations", "latitude", 91),
        ("stations", "latitude", "33"),
        ("stations", "name", "a\x00b"),
        ("stations", "name", "\ud800"),
        ("stations", "name", "x" * 201),
        ("stations", "key", "../etc"),
        ("stations", "changed_on", ["soon"]),
        ("stations", "latitude", 10**400),
        ("cultivars", "flower_type", "purple"),
        ("cultivars", "viable_pollen", 1),
        ("vineyards", "station", "nowhere"),
        ("vineyards", "timezone", "Mars/Olympus"),
        ("blocks", "cultivar", "nowhere"),
        ("blocks", "x_m", None),
        ("blocks", "vines", 10**12),
        ("blocks", "neighbours", {"a": 1}),
        ("temperatures", "tmin_c", 99.0),
        ("temperatures", "date", "9999-99-99"),
        ("temperatures", "date", "1066-10-14"),
        ("temperatures", "stored_at", "2026-05-01T00:00:00"),
        ("visits", "percent_open", 101),
        ("visits", "subject", "block:b2"),
        ("visits", "block", "b9"),
        ("changes", "params", {"written": [1]}),
        ("changes", "params", []),
        ("changes", "undoes", 7),
        ("changes", "number", 2**31 - 1),
        ("change_rows", "change", 77),
        ("change_rows", "of_table", "keys"),
        ("change_rows", "keys", [["b1", "b2"]]),
        ("change_rows", "before", {"name": [1, 2, 3]}),
    ],
)
def test_what_no_answer_could_be_made_from_is_refused(
    client: TestClient, own_database: Path, table: str, column: str, value: Any
) -> None:
    told = small(client)
    assert client.delete("/v1/data", params={"confirm": "local"}).is_success
    empty = dump(f"sqlite:///{own_database}", without=())
    assert_problem(take_in(client, edited(told, table, column, value)), 422, "export", table)
    assert dump(f"sqlite:///{own_database}", without=()) == empty
    assert take_in(client, told).status_code == 201


def test_a_run_of_days_cannot_tell_of_more_days_than_there_are_rows_for(client: TestClient) -> None:
    """A change of days is kept as runs: short in the file, long once it is read."""
    told = small(client)
    lines = [json.loads(line) for line in told.splitlines()]
    rows = next(line for line in lines if line.get("table") == "change_rows")
    owner, keys = rows["columns"].index("of_table"), rows["columns"].index("keys")
    days = next(row for row in rows["rows"] if row[owner] == "temperatures" and row[-1] is None)
    days[keys] = ["1900-01-01/2199-12-31"] * 60
    assert client.delete("/v1/data", params={"confirm": "local"}).is_success
    assert_problem(take_in(client, "\n".join(map(json.dumps, lines))), 422, "5,000,000")


def test_what_is_no_export_or_of_another_version_says_so(client: TestClient) -> None:
    told = small(client)
    assert client.delete("/v1/data", params={"confirm": "local"}).is_success
    newer = told.replace('{"capfall_export":1', '{"capfall_export":2', 1)
    assert_problem(take_in(client, newer), 422, "the export is of version 2", "this service reads version 1")
    half = told[: told.rindex('{"end"')]
    assert_problem(take_in(client, half), 422, "the export is not whole")
    lines = told.splitlines()
    assert_problem(take_in(client, "\n".join(lines[:3] + lines[4:])), 422)
    assert_problem(take_in(client, "\n".join([*lines[:2], lines[1], *lines[2:]])), 422)
    assert_problem(take_in(client, told.replace('"table":"blocks"', '"table":"growers"')), 422, "no table")
    assert_problem(take_in(client, told.replace('"x_m"', '"z_m"')), 422, "blocks have no z_m")
    for nothing in (
        "",
        "x",
        "[]",
        "{}",
        "null",
        "[" * 100_000,
        '{"capfall_export":true}',
        b"\xff\xfe",
        "NaN",
    ):
        assert_problem(take_in(client, nothing), 422, "this is no export")
    assert_problem(client.post("/v1/import", json={}), 415, "application/x-ndjson")
    assert client.get("/v1/vineyards").json()["vineyards"] == []
