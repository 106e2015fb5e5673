"""What came of a season, and its weather after the day of the forecast, change nothing of what was forecast."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import replace

import numpy as np
import pytest

from models.bloom.hindcast import KNOWN_WEATHER, OTHERS_SEEN, Hindcast, Lead, hindcast_season
from models.bloom.search import choose, prepare
from models.bloom.site import Site
from models.records import DailyTemperatures
from tests.hindcast.past import LATITUDE, RULE, STAGES, THRESHOLDS, invented_log, invented_weather

pytestmark = pytest.mark.slow

SEASON = 2004
LEAD = 30


@pytest.fixture(scope="module")
def site() -> Site:
    weather = invented_weather(1998, 2007)
    return Site("hollow", LATITUDE, weather, invented_log(weather))


def foreseen(site: Site, *, search: bool = False) -> dict[tuple[str, str, Lead], Hindcast]:
    heat = prepare([site], stages=STAGES) if search else RULE
    found = hindcast_season([site], SEASON, stages=STAGES, heat=heat, leads=[LEAD])
    return {(row.block, row.stage, row.lead): row for row in found.rows}


def dates(row: Hindcast) -> tuple[dt.date | None, dt.date | None, dt.date | None]:
    return row.low, row.median, row.high


def days_late(site: Site, days: int, cultivars: Collection[str], stages: Collection[str]) -> Site:
    """Some of the season's dates that many days later."""
    later = dt.timedelta(days=days)
    moved = (
        replace(
            row,
            dates={stage: date + later if stage in stages else date for stage, date in row.dates.items()},
        )
        if row.season == SEASON and row.cultivar in cultivars
        else row
        for row in site.log
    )
    return replace(site, log=tuple(moved))


@pytest.mark.parametrize("search", [False, True])
def test_the_seasons_own_dates_do_not_tell(site: Site, search: bool) -> None:
    before, after = (
        foreseen(site, search=search),
        foreseen(days_late(site, 12, THRESHOLDS, STAGES), search=search),
    )
    unseen = [key for key in before if key[2] != OTHERS_SEEN]
    assert len(unseen) == 2 * 2 * 2  # cultivars, stages, leads
    for key in unseen:
        assert dates(before[key]) == dates(after[key])
        assert after[key].error == before[key].error - 12


def test_weather_after_the_day_of_the_forecast_does_not_tell(site: Site) -> None:
    latest = max(one.by.timetuple().tm_yday for one in site.seen if one.by)
    changed = warmer_from(site, dt.date(SEASON, 1, 1) + dt.timedelta(days=latest - LEAD))
    before, after = foreseen(site), foreseen(changed)
    for key, row in before.items():
        if key[2] == LEAD:
            assert dates(row) == dates(after[key])
        elif key[2] == KNOWN_WEATHER:
            assert dates(row) != dates(after[key])


def test_later_seasons_do_not_tell_where_only_the_past_may(site: Site) -> None:
    """Neither their dates nor their weather, in nothing that is told; in a season left out they do."""
    later = [row for row in site.log if row.season > SEASON]
    moved = tuple(
        replace(row, dates={stage: date + dt.timedelta(days=20) for stage, date in row.dates.items()})
        if row in later
        else row
        for row in site.log
    )
    changed = warmer_from(replace(site, log=moved), dt.date(SEASON + 1, 1, 1), to=SEASON + 3)
    heat = prepare([site], stages=STAGES), prepare([changed], stages=STAGES)

    def told(past_only: bool) -> list[list[Hindcast]]:
        return [
            list(
                hindcast_season(
                    [each], SEASON, stages=STAGES, heat=candidates, leads=[LEAD], past_only=past_only
                ).rows
            )
            for each, candidates in zip((site, changed), heat, strict=True)
        ]

    before, after = told(past_only=True)
    assert {row.lead for row in before} == {KNOWN_WEATHER, LEAD, OTHERS_SEEN}
    assert before == after
    before, after = told(past_only=False)
    assert before != after


def warmer_from(site: Site, first: dt.date, to: int = SEASON) -> Site:
    """The season, or all to a later one, 8 degrees warmer from a day on."""
    told = site.temperatures
    later = (told.dates >= np.datetime64(first)) & (told.dates < np.datetime64(f"{to + 1}-01-01"))
    tmin_c, tmax_c = told.tmin_c + 8.0 * later, told.tmax_c + 8.0 * later
    return replace(site, temperatures=DailyTemperatures(told.dates, tmin_c, tmax_c))


def test_the_baseline_is_the_cultivars_own_dates_in_the_other_seasons(site: Site) -> None:
    for (block, stage, _), row in foreseen(site).items():
        others = [
            one.by.timetuple().tm_yday
            for one in site.seen
            if one.by and (one.cultivar, one.stage) == (block, stage) and one.season != SEASON
        ]
        expected = np.mean(others) - row.observed.timetuple().tm_yday
        assert row.baseline_error == pytest.approx(expected, abs=1.0)  # leap days may count either way


def test_a_date_does_not_tell_of_itself_once_others_were_seen(site: Site) -> None:
    key: tuple[str, str, Lead] = ("loam-whistle", "full_bloom", OTHERS_SEEN)
    before, after = foreseen(site)[key], foreseen(days_late(site, 12, key[:1], key[1:2]))[key]
    assert dates(before) == dates(after)
    assert after.observed == before.observed + dt.timedelta(days=12)


def test_the_heat_rule_is_chosen_without_the_season() -> None:
    weather = invented_weather(1998, 2007)
    log = invented_log(weather, noise=80.0)  # so noisy that one season changes the choice
    site = Site("hollow", LATITUDE, weather, log)
    heat = prepare([site], stages=STAGES)
    without = choose(heat, exclude_seasons=[1999]).rule
    assert without != choose(heat).rule
    assert hindcast_season([site], 1999, stages=STAGES, heat=heat, leads=[]).rule == without
