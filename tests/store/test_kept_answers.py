"""Kept answers: told again while they are true, and never after, whatever changed and whoever changed it."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from typing import Any, NamedTuple

import numpy as np
import pytest
from fastapi.testclient import TestClient
from sqlalchemy import create_engine, make_url, select

from models.bloom.forecast import forecast
from service.app import create_app
from service.settings import Settings
from service.store.images import is_journaled
from service.store.journal import CHANGED
from service.store.tables import Base
from service.usecases import forecasts
from service.web.kept import Answer, KeptAnswers
from tests.api.asking import CSV, STATION, VINEYARD
from tests.api.past_seasons import THIS_SEASON, block_heats, days_of, fitted, log_csv, plant, send

TODAY = dt.date(THIS_SEASON, 5, 2)
NOON = dt.datetime.combine(TODAY, dt.time(12), dt.UTC)
AS_OF = f"as_of={TODAY}"
BOARD = "/vineyards/hollow"
# every route whose answer is kept, with and without a day of its own
MOVED_BY_TEMPERATURES = (
    *(f"{VINEYARD}/forecast?{AS_OF}", f"{VINEYARD}/pollination", f"{VINEYARD}/scouting"),
    *(f"{VINEYARD}/calendar.ics", f"{VINEYARD}/planting-check", f"{STATION}/degree-days"),
    *(f"{VINEYARD}/bloom-window", f"{BOARD}?{AS_OF}", f"{BOARD}/map"),
)
KEPT = (
    *MOVED_BY_TEMPERATURES,
    *(f"{VINEYARD}/news?since={TODAY}", f"{VINEYARD}/season-review", f"{VINEYARD}/set"),
    *(f"{BOARD}/news", f"{BOARD}/review", f"{BOARD}/set", f"{BOARD}/layout"),
)
IN_FEW_ANSWERS = {"news_readers"}  # see the test below
ROSTER = "/v1/roster"
ASKED_AFTER_EACH_CHANGE = (
    *(f"{VINEYARD}/forecast", f"{VINEYARD}/calendar.ics", f"{BOARD}?{AS_OF}"),
    *(ROSTER, f"{ROSTER}?{AS_OF}"),
)


class Change(NamedTuple):
    """One request that changes what is answered."""

    method: str
    path: str
    body: Any = None
    csv: str | None = None


PLACE = {"name": "Hollow gauge", "latitude": 33.5, "longitude": -84.0, "elevation_m": 250}
WARM = "date,tmin_c,tmax_c\n" + "".join(f"{THIS_SEASON}-04-{day},22,33\n" for day in range(10, 29))
COLD = "date,tmin_c,tmax_c\n" + "".join(f"{THIS_SEASON}-05-0{day},1,9\n" for day in range(2, 10))
ONE_LOG_ROW = f"season,block,bloom_start\n{THIS_SEASON - 1},a,{THIS_SEASON - 1}-05-09\n"
CHANGES = {
    "temperatures": Change("POST", f"{STATION}/temperatures", csv=WARM),
    "outlook": Change(
        "POST", f"{STATION}/temperatures?kind=outlook&issued_on={TODAY}&confirm=units", csv=COLD
    ),
    "visit": Change(
        "POST",
        f"{VINEYARD}/visits",
        [{"date": str(TODAY - dt.timedelta(days=1)), "block": "b", "percent_open": 30}],
    ),
    "bloom log": Change("POST", f"{VINEYARD}/bloom-log", csv=ONE_LOG_ROW),
    "frosted": Change("PUT", f"{VINEYARD}/blocks/c/frost/{THIS_SEASON}", {"night": f"{THIS_SEASON}-04-01"}),
    "set count": Change(
        "POST", f"{VINEYARD}/set-counts", [{"date": str(TODAY), "block": "b", "cluster": "1", "flowers": 50}]
    ),
    "crop count": Change(
        "POST", f"{VINEYARD}/crop-counts", [{"date": str(TODAY), "block": "b", "cane": "1", "clusters": 9}]
    ),
    "cultivar": Change(
        "PUT", "/v1/cultivars/birch", {"name": "Birch", "flower_type": "pistillate", "receptive_days": 9}
    ),
    "block": Change("PUT", f"{VINEYARD}/blocks/d", {"cultivar": "dogwood", "x_m": 200, "y_m": 0}),
    "reach": Change("PATCH", VINEYARD, {"reach_m": 4.0}),
    "block gone": Change("DELETE", f"{VINEYARD}/blocks/c"),
    "fit": Change(
        "POST", "/v1/fits", {"heat": {"method": "average", "base_c": 8.0}, "vineyards": ["hollow"]}
    ),
    "undo": Change("POST", "/v1/changes/{last}/undo"),
    "time zone": Change("PATCH", VINEYARD, {"timezone": "Pacific/Kiritimati"}),
    "latitude": Change("PUT", f"{STATION}?confirm=latitude", {**PLACE, "latitude": -33.5}),
}


def client_of(url: str) -> TestClient:
    """A worker of the service: what it keeps is its own."""
    return TestClient(
        create_app(Settings(database_url=url, access="open")),
        base_url="http://127.0.0.1:8000",
        client=("127.0.0.1", 50000),
    )


def change(client: TestClient, asked: Change) -> None:
    last = client.get("/v1/changes?limit=1").json()["changes"][0]["change"]
    sent: dict[str, Any] = {} if asked.body is None else {"json": asked.body}
    if asked.csv is not None:
        sent = {"headers": CSV, "content": asked.csv}
    path = asked.path.replace("{last}", str(last))
    answer = client.request(asked.method, path, **sent)
    assert answer.is_success, answer.text


def answers(client: TestClient, paths: tuple[str, ...] = ASKED_AFTER_EACH_CHANGE) -> dict[str, Any]:
    found = {path: client.get(path) for path in paths}
    # parts of a chart are numbered by the process that draws it
    return {
        path: (answer.status_code, re.sub(r"\bp\d+\b", "p", answer.text)) for path, answer in found.items()
    }


def tables_written(url: str) -> set[str]:
    """Of all changes that are kept."""
    parsed = make_url(url)
    if parsed.drivername == "postgresql":
        parsed = parsed.set(drivername="postgresql+psycopg")
    engine = create_engine(parsed)
    with engine.connect() as connection:
        found = set(connection.execute(select(CHANGED.c.of_table)).scalars())
    engine.dispose()
    return found


@pytest.fixture
def workers(url: str, set_clock: Callable[[dt.datetime], None]) -> Iterator[tuple[TestClient, TestClient]]:
    """Two workers of one service, in the midst of a season of a vineyard whose fit is in use."""
    with ExitStack() as stack:
        one, other = (stack.enter_context(client_of(url)) for _ in range(2))
        plant(one)
        send(
            one,
            "bloom-log",
            log_csv(days_of(block_heats(np.random.default_rng(5), between_seasons=30, within=20))),
        )
        fitted(one)
        set_clock(NOON)
        yield one, other


@pytest.fixture
def computed(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Grows by one with each forecast that is computed."""
    made: list[str] = []
    compute = forecast

    def counted(*arguments: Any, **options: Any) -> Any:
        made.append("forecast")
        return compute(*arguments, **options)

    monkeypatch.setattr(forecasts, "forecast", counted)
    return made


def test_every_kind_of_change_moves_the_answers_of_every_worker(
    workers: tuple[TestClient, TestClient], url: str
) -> None:
    one, other = workers
    held = answers(one)
    assert answers(other) == held
    for name, asked in CHANGES.items():
        change(one, asked)
        now = answers(other)
        assert now != held, name
        assert answers(one) == now, name
        with client_of(url) as new:  # it keeps nothing yet
            assert answers(new) == now, name
        held = now
    journaled = {table.name for table in Base.metadata.tables.values() if is_journaled(table)}
    assert tables_written(url) == journaled - IN_FEW_ANSWERS


def test_counts_readers_and_what_was_told_move_their_answers_in_every_worker(
    workers: tuple[TestClient, TestClient],
) -> None:
    one, other = workers
    news = f"{VINEYARD}/news?since={TODAY}"
    counted = [
        {"date": f"{THIS_SEASON - 1}-0{month}-09", "block": "b", "cluster": "1", **numbers}
        for month, numbers in ((5, {"flowers": 90}), (6, {"berries": 40}))
    ]
    for asked, paths in (
        (Change("POST", f"{VINEYARD}/set-counts", counted), (f"{VINEYARD}/set", f"{BOARD}/set")),
        (Change("PUT", f"{VINEYARD}/news-readers", {"addresses": ["a@b.example"]}), (f"{BOARD}/news",)),
        (Change("POST", f"{VINEYARD}/news"), (news, f"{VINEYARD}/season-review", f"{BOARD}/review")),
    ):
        before = [answers(client, paths) for client in workers]
        assert before[0] == before[1]
        change(one, asked)
        now = [answers(client, paths) for client in workers]
        assert now[0] == now[1]
        assert all(now[0][path] != before[0][path] for path in paths), asked
    assert other.get(news).json()["kept"]


def test_the_feed_of_news_names_the_address_that_it_was_fetched_from(
    workers: tuple[TestClient, TestClient],
) -> None:
    one, _ = workers
    change(one, Change("POST", f"{VINEYARD}/news"))
    for query in ("", "?grower=local"):
        feed = one.get(f"{VINEYARD}/news.atom{query}")
        assert f'news.atom{query}"' in feed.text
        assert one.get(feed.url, headers={"If-None-Match": feed.headers["etag"]}).status_code == 304


def test_an_unchanged_answer_is_not_computed_again(
    workers: tuple[TestClient, TestClient], computed: list[str]
) -> None:
    one, other = workers
    first = {path: one.get(path) for path in KEPT}
    made = len(computed)
    assert made > 0
    for path, answer in first.items():
        tag = answer.headers["etag"]
        again = one.get(path)
        assert (again.status_code, again.content, again.headers["etag"]) == (200, answer.content, tag), path
        assert again.headers["content-type"] == answer.headers["content-type"]
        held = one.get(path, headers={"If-None-Match": tag})
        assert (held.status_code, held.content, held.headers["etag"]) == (304, b"", tag), path
        assert one.head(path).headers["etag"] == tag
    assert len(computed) == made
    change(other, CHANGES["temperatures"])
    for path, answer in first.items():
        now = one.get(path, headers={"If-None-Match": answer.headers["etag"]})
        assert now.status_code == 200 or path not in MOVED_BY_TEMPERATURES, path
    assert len(computed) == 2 * made


def test_the_question_counts_to_its_last_word(workers: tuple[TestClient, TestClient]) -> None:
    one, _ = workers
    asked = [
        f"{VINEYARD}/forecast?{AS_OF}{more}" for more in ("", "&units=us", "&interval=0.5", "&frost_limit=2")
    ]
    for _ in range(2):
        assert len({one.get(path).text for path in asked}) == len(asked)
    board = f"{BOARD}?{AS_OF}"
    for _ in range(2):
        one.cookies.clear()
        in_metric = one.get(board).text
        one.cookies.set("capfall_units", "us")
        assert one.get(board).text != in_metric


def test_a_day_makes_open_answers_old_and_no_others(
    workers: tuple[TestClient, TestClient], set_clock: Callable[[dt.datetime], None]
) -> None:
    one, _ = workers
    change(one, Change("PATCH", VINEYARD, {"timezone": "America/Chicago"}))
    midnight = dt.datetime.combine(TODAY + dt.timedelta(days=1), dt.time(5), dt.UTC)  # there
    open_path, fixed_path = f"{VINEYARD}/forecast", f"{VINEYARD}/forecast?{AS_OF}"
    fixed = one.get(fixed_path).text
    set_clock(midnight - dt.timedelta(seconds=1))
    assert one.get(open_path).json()["as_of"] == str(TODAY)
    set_clock(midnight)
    assert one.get(open_path).json()["as_of"] == str(TODAY + dt.timedelta(days=1))
    assert one.get(fixed_path).text == fixed


def test_what_if_calendars_follow_what_the_feed_has_told(workers: tuple[TestClient, TestClient]) -> None:
    one, other = workers
    feed, supposed = f"{VINEYARD}/calendar.ics", f"{VINEYARD}/calendar.ics?{AS_OF}"
    for _ in range(2):
        one.get(feed)
        change(one, CHANGES["temperatures"])
        before = one.get(supposed).text
        one.get(feed)  # tells, and so raises sequences, without a change of the data
        after = one.get(supposed)
        assert after.text == other.get(supposed).text
        assert after.text != before
        assert one.get(supposed, headers={"If-None-Match": after.headers["etag"]}).status_code == 304
        change(one, Change("POST", "/v1/changes/{last}/undo"))


def test_the_board_of_a_fit_that_is_being_made_is_made_each_time(
    workers: tuple[TestClient, TestClient], computed: list[str]
) -> None:
    one, _ = workers
    answer = one.post(f"{BOARD}/fit", follow_redirects=False)
    board = answer.headers["location"]
    for times in (1, 2):
        assert one.get(board).status_code == 200
        assert len(computed) == times


def test_a_row_of_the_roster_is_computed_once_for_each_change_and_day(
    workers: tuple[TestClient, TestClient], computed: list[str], set_clock: Callable[[dt.datetime], None]
) -> None:
    one, other = workers

    def made_by(path: str, client: TestClient = one) -> tuple[int, Any]:
        before = len(computed)
        answer = client.get(path)
        assert answer.status_code == 200
        return len(computed) - before, answer.json() if path.startswith("/v1") else None

    made, first = made_by(ROSTER)
    assert made == 1
    # page and table, order and an explicit day ask for the same row
    for path in (ROSTER, f"{ROSTER}?sort=name", f"{ROSTER}?{AS_OF}", "/roster"):
        assert made_by(path)[0] == 0, path
    assert made_by(ROSTER) == (0, first)
    change(other, CHANGES["temperatures"])
    made, changed = made_by(ROSTER)
    assert (made, changed != first) == (1, True)
    assert made_by(ROSTER, other) == (1, changed)
    # what another vineyard and another station become leaves the row as it is
    for path in ("/v1/stations/lea-gauge", "/v1/vineyards/lea"):
        body = PLACE | {"name": "Lea"} if "stations" in path else {"name": "Lea", "station": "lea-gauge"}
        change(one, Change("PUT", path, body))
    made, with_lea = made_by(ROSTER)
    assert (made, len(with_lea["vineyards"])) == (0, 2)
    change(one, Change("PATCH", "/v1/vineyards/lea", {"reach_m": 4.0}))
    assert made_by(ROSTER) == (0, with_lea)
    change(one, Change("DELETE", "/v1/vineyards/lea"))
    assert made_by(ROSTER) == (0, changed)
    set_clock(NOON + dt.timedelta(days=1))
    made, next_day = made_by(ROSTER)
    assert (made, next_day["vineyards"][0]["as_of"]) == (1, str(TODAY + dt.timedelta(days=1)))
    set_clock(NOON)
    assert made_by(ROSTER) == (0, changed)


def test_what_is_kept_is_bounded_and_the_longest_not_asked_for_goes_first() -> None:
    kept = KeptAnswers(most_bytes=30_000)

    def answer(state: int) -> Answer:
        return Answer((state,), bytes(9_000), {})

    for name in "abc":
        kept.keep((name,), answer(1))
    assert kept.find(("a",), (1,)) is not None
    kept.keep(("d",), answer(1))
    assert [kept.find((name,), (1,)) is not None for name in "abcd"] == [True, False, True, True]
    kept.keep(("a",), answer(2))
    assert kept.find(("a",), (1,)) is None
    assert [kept.find((name,), (state,)) is not None for name, state in (("a", 2), ("c", 1), ("d", 1))] == [
        True
    ] * 3
    kept.keep(("large",), Answer((1,), bytes(40_000), {}))
    assert kept.find(("large",), (1,)) is None
