"""The roster: a row a vineyard, over all growers of a key, sorted; as JSON, as CSV and as a page."""

from __future__ import annotations

import datetime as dt
import re
import shutil
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from service.store import Store
from service.store.repositories import Repositories
from service.usecases.roster import Bloom, KeptRows, RosterRow, SeasonNow, order, roster
from service.words.roster import bloom_words
from tests.access.conftest import Door
from tests.api.asking import assert_problem, put_vineyard

DAY = "2026-05-20"


@pytest.fixture
def two_growers(demo_database: Path, tmp_path: Path) -> Iterator[Door]:
    """The demo's vineyard is that of one grower; the other has one without weather."""
    database = tmp_path / "demo.db"
    shutil.copy(demo_database, database)
    with ExitStack() as stack:
        door = Door(f"sqlite:///{database}", stack)
        with door.store.access() as access:
            access.rename_grower("local", "ann")
        put_vineyard(door.client_of("manage", "bea"))
        yield door


def test_all_vineyards_of_all_growers_the_most_urgent_first(two_growers: Door) -> None:
    adviser = two_growers.client_of("read", "ann", "bea")
    rows = adviser.get(f"/v1/roster?as_of={DAY}").json()["vineyards"]
    assert [(row["grower"], row["vineyard"]) for row in rows] == [("ann", "sandlark-bend"), ("bea", "hollow")]
    sandlark, hollow = rows
    ask = f"as_of={DAY}&grower=ann"
    forecast = adviser.get(f"/v1/vineyards/sandlark-bend/forecast?{ask}").json()
    starts = [block["stages"]["bloom_start"]["median"] for block in forecast["blocks"] if block["stages"]]
    ends = [block["stages"]["bloom_end"]["median"] for block in forecast["blocks"] if block["stages"]]
    assert (sandlark["bloom"]["starts"], sandlark["bloom"]["ends"]) == (min(starts), max(ends))
    pollination = adviser.get(f"/v1/vineyards/sandlark-bend/pollination?{ask}").json()
    told = [
        (warning["level"], warning["chance"], warning["message"])
        for block in pollination["pistillate_blocks"]
        for warning in block["warnings"]
    ]
    worst = sandlark["worst_warning"]
    assert (worst["level"], worst["chance"], worst["message"]) in told
    assert worst["level"] == "act"
    assert worst["chance"] == max(chance for level, chance, _ in told if level == "act")
    trips = adviser.get(f"/v1/vineyards/sandlark-bend/scouting?{ask}").json()["trips"]
    assert sandlark["next_trip"] == {"date": trips[0]["date"], "tasks": len(trips[0]["tasks"])}
    assert (sandlark["temperatures_through"], sandlark["weather_days_behind"]) == ("2026-05-19", 0)
    assert "no temperatures" in hollow["why_none"]
    assert hollow["bloom"]["state"] == "unknown"


def test_one_growers_part_of_it_pages_of_it_and_a_table(two_growers: Door) -> None:
    adviser, bea = two_growers.client_of("read", "ann", "bea"), two_growers.client_of("read", "bea")
    assert [row["grower"] for row in bea.get(f"/v1/roster?as_of={DAY}").json()["vineyards"]] == ["bea"]
    mine = adviser.get(f"/v1/roster?as_of={DAY}&grower=bea").json()["vineyards"]
    assert [row["grower"] for row in mine] == ["bea"]
    assert_problem(bea.get("/v1/roster?grower=ann"), 404)
    first = adviser.get(f"/v1/roster?as_of={DAY}&sort=name&limit=1").json()
    after = adviser.get("/v1/roster", params={"as_of": DAY, "sort": "name", "cursor": first["next"]}).json()
    names = [row["name"] for row in first["vineyards"] + after["vineyards"]]
    assert names == ["Hollow", "Sandlark Bend"]
    table = adviser.get(f"/v1/roster?as_of={DAY}", headers={"Accept": "text/csv"}).text.splitlines()
    assert table[0].startswith("grower,vineyard,name,as_of,season,bloom_state")
    assert [line.split(",")[1] for line in table[1:]] == ["sandlark-bend", "hollow"]
    assert_problem(adviser.get("/v1/roster?sort=size"), 422, "sort")


def test_the_page(two_growers: Door) -> None:
    adviser = two_growers.client_of("read", "ann", "bea")
    assert adviser.get(f"/v1/roster?as_of={DAY}").json()["waiting"] == 0  # the page itself has less time
    text = adviser.get(f"/roster?as_of={DAY}").text
    rows = re.findall(r"<tr[ >].*?</tr>", text, re.DOTALL)[1:]
    assert ["Sandlark Bend" in row for row in rows] == [True, False]
    assert f'href="/growers/ann/vineyards/sandlark-bend?as_of={DAY}"' in rows[0]
    assert "In bloom until" in rows[0] or "Before bloom" in rows[0]
    assert "up to date" in rows[0]
    assert "no temperatures" in rows[1]
    by_name = adviser.get(f"/roster?as_of={DAY}&sort=name").text
    assert by_name.index("Hollow</a>") < by_name.index("Sandlark Bend</a>")
    assert adviser.get("/growers/ann/vineyards/sandlark-bend?as_of=" + DAY).status_code == 200
    assert adviser.get("/v1/roster?as_of=2026-08-01").json()["waiting"] == 0
    assert "Bloom presumed over since" in adviser.get("/roster?as_of=2026-08-01").text
    assert "not seen" not in text


def test_open_access_has_one_too(demo_client: TestClient) -> None:
    [row] = demo_client.get(f"/v1/roster?as_of={DAY}").json()["vineyards"]
    assert (row["grower"], row["vineyard"]) == ("local", "sandlark-bend")
    assert 'href="/vineyards/sandlark-bend?as_of=' in demo_client.get(f"/roster?as_of={DAY}").text
    assert 'href="/roster"' in demo_client.get("/").text


def test_a_second_request_costs_a_twentieth_of_the_first_or_less(demo_client: TestClient) -> None:
    def cost() -> float:
        start = time.process_time()
        assert demo_client.get(f"/v1/roster?as_of={DAY}").status_code == 200
        return time.process_time() - start

    demo_client.get("/v1/roster?as_of=2026-05-19")  # loads what a first forecast needs
    first = cost()
    assert 20 * min(cost() for _ in range(3)) < first


def test_what_keeps_a_vineyard_from_a_forecast_is_kept_without_what_was_read(demo_database: Path) -> None:
    store, kept = Store(f"sqlite:///{demo_database}"), KeptRows()
    rows = [
        roster(store, ["local"], kept, as_of=dt.date(1990, 5, 20), seconds=60.0),
        roster(store, ["local"], kept, as_of=dt.date(1990, 5, 20), seconds=0.0),
    ]
    store.close()
    [[first], [second]] = rows
    assert first is second
    assert first.why is not None
    assert (first.why.__traceback__, first.why.__context__, first.why.__cause__) == (None, None, None)


def test_what_a_request_does_not_come_to_is_told_as_older_or_not_there(
    two_growers: Door, monkeypatch: pytest.MonkeyPatch
) -> None:
    adviser = two_growers.client_of("read", "ann", "bea")
    ask = f"/v1/roster?as_of={DAY}&sort=name"

    def rows(seconds: float) -> tuple[int, list[tuple[str, bool, bool]]]:
        monkeypatch.setattr("service.api.roster.LONGEST_SECONDS", seconds)
        told = adviser.get(ask).json()
        return told["waiting"], [
            (each["vineyard"], each["season"] is not None, each["up_to_date"]) for each in told["vineyards"]
        ]

    assert rows(0.0) == (2, [("hollow", False, False), ("sandlark-bend", False, False)])
    assert "being worked out" in adviser.get(ask).json()["vineyards"][1]["why_none"]
    monkeypatch.setattr("service.board.roster.LONGEST_SECONDS", 0.0)
    page = adviser.get(f"/roster?as_of={DAY}").text
    assert "2 vineyards are being worked out anew" in page
    assert 'http-equiv="refresh"' in page
    assert rows(60.0) == (0, [("hollow", False, True), ("sandlark-bend", True, True)])
    assert 'http-equiv="refresh"' not in adviser.get(f"/roster?as_of={DAY}").text
    visit = [{"date": "2026-05-19", "block": "west-2", "percent_open": 30}]
    ann = two_growers.client_of("manage", "ann")
    assert ann.post("/v1/vineyards/sandlark-bend/visits", json=visit).status_code == 200
    assert rows(0.0) == (1, [("hollow", False, True), ("sandlark-bend", True, False)])
    assert "older, being worked out" in adviser.get(f"/roster?as_of={DAY}").text
    assert rows(60.0) == (0, [("hollow", False, True), ("sandlark-bend", True, True)])


def test_only_one_request_at_a_time_computes_rows(
    demo_database: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store, kept = Store(f"sqlite:///{demo_database}"), KeptRows()
    day = dt.date(2026, 5, 20)
    meanwhile: list[RosterRow] = []

    def ask_too(_records: Repositories, _vineyard: str, *, as_of: dt.date) -> SeasonNow:
        meanwhile.extend(roster(store, ["local"], kept, as_of=as_of, seconds=60.0))
        return SeasonNow(2026, Bloom("unknown"), None, None, None)

    monkeypatch.setattr("service.usecases.roster.season_now", ask_too)
    [mine] = roster(store, ["local"], kept, as_of=day, seconds=60.0)
    [theirs] = meanwhile
    assert (mine.up_to_date, theirs.up_to_date, theirs.now) == (True, False, None)
    assert roster(store, ["local"], kept, as_of=day, seconds=0.0) == [mine]
    store.close()


def row(name: str, bloom: Bloom | None = None, through: dt.date | None = None) -> RosterRow:
    now = None if bloom is None else SeasonNow(2026, bloom, None, None, through)
    return RosterRow("ann", name.lower(), name, dt.date(2026, 5, 20), now)


def test_how_rows_are_sorted() -> None:
    day = dt.date(2026, 5, 19)
    rows = [
        row("b", Bloom("over", day, day), day),
        row("A", Bloom("before", day), day - dt.timedelta(days=4)),
        row("c"),
        row("D", Bloom("in_bloom", day, day), day),
    ]
    assert [each.weather_days_behind for each in rows] == [0, 4, None, 0]
    assert "".join(each.name for each in sorted(rows, key=order("name"))) == "AbcD"
    assert "".join(each.name for each in sorted(rows, key=order("bloom"))) == "DAbc"
    assert "".join(each.name for each in sorted(rows, key=order("weather"))) == "cAbD"
    assert "".join(each.name for each in sorted(rows, key=order("worst"))) == "AbDc"


def test_where_the_bloom_stands_in_words() -> None:
    first, last = dt.date(2026, 5, 14), dt.date(2026, 6, 1)
    assert bloom_words("before", first, last) == "before bloom, which starts on 14 May"
    assert bloom_words("in_bloom", first, last) == "in bloom until 1 June"
    assert bloom_words("over", first, last) == "bloom over since 1 June"
    assert bloom_words("in_bloom", first, last, presumed=True).startswith(
        "likely in bloom until 1 June, by the"
    )
    assert bloom_words("over", first, last, presumed=True).startswith(
        "bloom presumed over since 1 June, by the"
    )
    assert bloom_words("unknown", first, None) == "bloom not known"
