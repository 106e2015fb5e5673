"""One place looks at the clock, and today is the vineyard's day wherever a day is left out."""

from __future__ import annotations

import ast
import datetime as dt
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

import demo_weather
from models.errors import BadInput
from service import clock
from tests.api.asking import VINEYARD, assert_problem, put_vineyard
from tests.feed.reading import by_both

ROOT = Path(__file__).parents[2]
KEY = demo_weather.VINEYARD.key
DEMO = f"/v1/vineyards/{KEY}"
MOMENT = dt.datetime(2026, 5, 20, 2, 0, tzinfo=dt.UTC)
# In May Chicago has daylight time, UTC-5, and Sydney standard time, UTC+10 (from memory).
DAYS = {"America/Chicago": dt.date(2026, 5, 19), "Australia/Sydney": dt.date(2026, 5, 20)}

SetClock = Callable[[dt.datetime], None]


def looks_at_the_clock(tree: ast.AST) -> Iterator[int]:
    """Lines of a module that ask for the time or the day, other than by `service.clock`."""
    for node in ast.walk(tree):
        match node:
            case ast.Import(names=names) if any(name.name == "time" for name in names):
                yield node.lineno
            case ast.ImportFrom(module="time"):
                yield node.lineno
            case ast.Attribute(
                value=ast.Name(id="dt" | "datetime" | "date") | ast.Attribute(attr="datetime" | "date"),
                attr="now" | "today" | "utcnow" | "fromtimestamp" | "current_timestamp",
            ):
                yield node.lineno


def test_nothing_else_looks_at_the_clock() -> None:
    paths = [path for room in ("service", "models", "demo_weather") for path in (ROOT / room).rglob("*.py")]
    found = {
        path.relative_to(ROOT).as_posix(): lines
        for path in paths
        if (lines := list(looks_at_the_clock(ast.parse(path.read_text(encoding="utf-8")))))
    }
    assert found.keys() == {"service/clock.py"}


@pytest.mark.parametrize(
    "line",
    ["import time", "from time import time", "dt.date.today()", "x = datetime.now", "dt.datetime.utcnow()"],
)
def test_a_look_at_the_clock_is_found(line: str) -> None:
    assert list(looks_at_the_clock(ast.parse(line))) == [1]


@pytest.fixture
def machine_in(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[str], None]]:
    """Puts the machine into a time zone."""

    def put(timezone: str) -> None:
        monkeypatch.setenv("TZ", timezone)
        time.tzset()

    yield put
    monkeypatch.undo()
    time.tzset()


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the machine's zone can be set on Unix only")
@pytest.mark.parametrize(("timezone", "day"), DAYS.items())
def test_without_a_zone_it_is_the_machines_day(
    set_clock: SetClock, machine_in: Callable[[str], None], timezone: str, day: dt.date
) -> None:
    set_clock(MOMENT)
    machine_in(timezone)
    assert clock.today() == day
    assert clock.today("Australia/Sydney") == dt.date(2026, 5, 20)


def put_demo(client: TestClient, timezone: str | None) -> None:
    body = {"name": "Sandlark Bend", "station": demo_weather.STATION.key, "timezone": timezone}
    assert client.put(DEMO, json=body).status_code == 200


@pytest.mark.parametrize(("timezone", "day"), DAYS.items())
def test_today_is_the_vineyards_day(
    demo_client: TestClient, set_clock: SetClock, timezone: str, day: dt.date
) -> None:
    put_demo(demo_client, timezone)
    set_clock(MOMENT)
    for route in ("forecast", "pollination", "scouting"):
        assert demo_client.get(f"{DEMO}/{route}").json()["as_of"] == day.isoformat(), route
    board = demo_client.get(f"/vineyards/{KEY}").text
    assert f"Today, <b>{day:%A} {day.day} May 2026</b>" in board
    assert "see today" not in board
    assert f'value="{day.isoformat()}"' in demo_client.get(f"/vineyards/{KEY}/visit").text
    seen = {"block": "west-4", "date": "2026-05-18", "percent_open": "0"}
    stored = demo_client.post(f"/vineyards/{KEY}/visit", data=seen, follow_redirects=False)
    assert f"as_of={day.isoformat()}" in stored.headers["location"]


def test_the_calendar_looks_ahead_from_the_vineyards_day(
    demo_client: TestClient, set_clock: SetClock
) -> None:
    set_clock(MOMENT)

    def days(**asked: str) -> dict[str, tuple[dt.date, dt.date]]:
        answer = demo_client.get(f"{DEMO}/calendar.ics", params=asked)
        return {uid: (event.start, event.end) for uid, event in by_both(answer.content).items()}

    expected = {zone: days(as_of=day.isoformat()) for zone, day in DAYS.items()}
    assert expected["America/Chicago"] != expected["Australia/Sydney"]
    put_demo(demo_client, "America/Chicago")
    assert days() == expected["America/Chicago"]


def test_a_vineyards_time_zone_is_kept_and_taken_back(client: TestClient) -> None:
    put_vineyard(client)
    body = {"name": "Hollow", "station": "hollow-gauge"}
    assert client.put(VINEYARD, json={**body, "timezone": "America/Chicago"}).json()["timezone"] == (
        "America/Chicago"
    )
    assert client.get(VINEYARD).json()["timezone"] == "America/Chicago"
    assert client.get("/v1/vineyards").json()["vineyards"][0]["timezone"] == "America/Chicago"
    assert client.put(VINEYARD, json=body).json()["timezone"] is None
    assert client.get(VINEYARD).json()["timezone"] is None


@pytest.mark.parametrize(
    ("name", "hint"),
    [
        ("America/Chicgo", "did you mean 'America/Chicago'?"),
        ("america/new york", "did you mean 'America/New_York'?"),
        ("", "write it as in 'America/Chicago'"),
        ("../../etc/passwd", "write it as in"),
        ("America", ""),
        ("12", "write it as in"),
    ],
)
def test_an_unknown_time_zone_is_refused(client: TestClient, name: str, hint: str) -> None:
    put_vineyard(client)
    answer = client.put(VINEYARD, json={"name": "Renamed", "timezone": name})
    problem = assert_problem(answer, 422, "is no time zone of the IANA database")
    assert [error["where"] for error in problem["errors"]] == ["body.timezone"]
    assert hint in problem["errors"][0]["problem"]
    assert client.get(VINEYARD).json()["name"] == "Hollow"
    with pytest.raises(BadInput, match="is no time zone"):
        clock.check_timezone(name)
