"""A vineyard's past, cut by day and by season: every part of it is cut, and nothing later or left out is told."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from models.bloom.site import Site
from models.records import BloomLogRow, FrostedBlock, StageInterval, Visit
from models.stages import STAGE_KEYS
from tests.bloom.simulated import day, weather

NORTH, SOUTH = 31.0, -34.0
WEATHER = weather("2022-01-01", "2024-12-31")
BLOCKS = ("b1", "b2", None)
DAYS = st.dates(dt.date(2023, 3, 1), dt.date(2024, 9, 1))


def log_row(date: dt.date, cultivar: str, block: str | None, stages: list[str], days: int) -> BloomLogRow:
    dates = {stage: date + dt.timedelta(days=place) for place, stage in enumerate(stages)}
    return BloomLogRow(date.year, cultivar, block, dates, days)


ROWS = st.builds(
    log_row,
    date=DAYS,
    cultivar=st.sampled_from(["alder", "birch"]),
    block=st.sampled_from(BLOCKS),
    stages=st.lists(st.sampled_from(STAGE_KEYS), min_size=1, max_size=3, unique=True),
    days=st.integers(1, 14),
)
VISITS = st.builds(
    Visit,
    date=DAYS,
    cultivar=st.sampled_from(["alder", "birch"]),
    block=st.sampled_from(BLOCKS),
    percent_open=st.none() | st.floats(0, 100),
    bbch=st.none() | st.integers(0, 89),
)
MARKS = st.builds(
    FrostedBlock, block=st.sampled_from(["b1", "b2"]), season=st.sampled_from([2023, 2024]), night=st.none()
)
SITES = st.builds(
    Site,
    st.just("here"),
    st.just(NORTH),
    st.just(WEATHER),
    log=st.lists(ROWS, max_size=4).map(tuple),
    visits=st.lists(VISITS, max_size=12).map(tuple),
    frosted=st.lists(MARKS, max_size=2).map(tuple),
)


def told(site: Site) -> tuple[object, ...]:
    """All that the models take from a past."""
    return site.seen, site.teaching, site.teaching_looks, site.frosted_in(2023), site.frosted_in(2024)


@given(SITES, st.lists(ROWS, max_size=3), st.lists(VISITS, max_size=6), DAYS)
def test_what_is_noted_later_was_not_known(
    site: Site, rows: list[BloomLogRow], visits: list[Visit], as_of: dt.date
) -> None:
    more = replace(
        site,
        log=site.log + tuple(row for row in rows if min(row.dates.values()) > as_of),
        visits=site.visits + tuple(visit for visit in visits if visit.date > as_of),
        frosted=(*site.frosted, FrostedBlock("b1", as_of.year, as_of + dt.timedelta(days=1))),
    )
    known = more.known_on(as_of)
    assert told(known) == told(site.known_on(as_of))
    assert known.temperatures.dates.size == (as_of - day("2022-01-01")).days
    assert all(one.by is None or one.by <= as_of for one in known.seen)
    assert all(look.date <= as_of for looks in known.teaching_looks.values() for look in looks)


@given(SITES, st.lists(VISITS, max_size=6), DAYS)
def test_visits_of_later_days_had_not_told(site: Site, visits: list[Visit], as_of: dt.date) -> None:
    later = tuple(visit for visit in visits if visit.date > as_of)
    had = site.told_on(as_of)
    assert replace(site, visits=site.visits + later).told_on(as_of) == had
    assert all(one.by is None or one.by <= as_of for one in had)
    assert all(one.after is None or one.after <= as_of for one in had)


@given(SITES)
def test_a_season_left_out_leaves_no_trace_and_the_two_parts_make_the_whole(site: Site) -> None:
    first, second = site.without([2024]), site.only(2024)
    assert told(first) == told(site.only(2023)) == told(site.before(2024))
    assert told(site.without([])) == told(site)
    assert {one.season for one in first.seen} <= {2023}
    assert first.seen + second.seen == site.seen
    assert first.teaching + second.teaching == site.teaching
    assert first.teaching_looks | second.teaching_looks == site.teaching_looks
    assert set(first.frosted) == {mark for mark in site.frosted if mark.season == 2023}


@given(SITES)
def test_frosted_blocks_teach_nothing_and_whole_cultivars_do(site: Site) -> None:
    marks = {(mark.season, mark.block) for mark in site.frosted}
    assert site.teaching == tuple(one for one in site.seen if (one.season, one.block) not in marks)
    assert all((season, block) not in marks for season, _, block in site.teaching_looks)
    assert replace(site, frosted=()).teaching == site.seen


def test_by_hand() -> None:
    def percent(date: str, block: str, percent: float) -> Visit:
        return Visit(day(date), "alder", block, percent)

    site = Site(
        "here",
        NORTH,
        WEATHER,
        log=(BloomLogRow(2023, "alder", "b1", {"full_bloom": day("2023-05-20")}, 3),),
        visits=(percent("2024-05-10", "b1", 60.0), percent("2024-05-10", "b2", 70.0)),
        frosted=(FrostedBlock("b2", 2024, day("2024-04-01")),),
    )
    logged = StageInterval(2023, "alder", "b1", "full_bloom", day("2023-05-17"), day("2023-05-20"))
    assert site.teaching[0] == logged
    assert {one.block for one in site.teaching} == {"b1"}
    assert {one.block for one in site.only(2024).seen} == {"b1", "b2"}
    assert list(site.teaching_looks) == [(2024, "alder", "b1")]
    assert site.frosted_in(2024) == {"b2"}
    assert site.known_on(day("2024-03-31")).frosted_in(2024) == frozenset()
    # three days before its date the block had been looked at, so by then it was "not yet", and later still so
    assert site.told_on(day("2023-05-15"))[0] == replace(logged, after=day("2023-05-15"), by=None)
    assert site.told_on(day("2023-05-19"))[0] == replace(logged, by=None)
    assert site.told_on(day("2023-05-20"))[0] == logged


def test_south_of_the_equator_a_visit_in_november_belongs_to_the_next_years_season() -> None:
    site = Site("here", SOUTH, WEATHER, visits=(Visit(day("2023-11-10"), "alder", "b1", 60.0),))
    assert {one.season for one in site.seen} == {2024}
    assert site.without([2024]).seen == ()
    assert site.only(2023).seen == ()
    assert site.before(2024).visits == ()
    assert site.running_season == 2025
