"""With the weather of other years there is nothing to know: skill that is left then would be a leak."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from models.bloom.hindcast import (
    KNOWN_WEATHER,
    OTHERS_SEEN,
    Hindcast,
    Lead,
    hindcast_season,
    seasons_to_score,
)
from models.bloom.search import prepare
from models.bloom.site import Site
from models.bloom.skill import score
from models.records import BloomLogRow, DailyTemperatures
from service.threads import use_one_thread
from tests.hindcast.past import LATITUDE, invented_log, invented_weather

pytestmark = pytest.mark.slow

STAGE = "full_bloom"
FIRST, LAST = 1999, 2010
LEADS = (30,)


def shuffled(log: tuple[BloomLogRow, ...], seed: int) -> tuple[BloomLogRow, ...]:
    """Every season's dates in the year, and so under the weather, of another season."""
    random = np.random.default_rng(seed)
    years = np.array(sorted({row.season for row in log}))
    given = random.permutation(years)
    while (given == years).any():
        given = random.permutation(years)
    moved = dict(zip(years.tolist(), given.tolist(), strict=True))

    def in_year(day: dt.date, year: int) -> dt.date:
        return dt.date(year, 1, 1) + dt.timedelta(days=day.timetuple().tm_yday - 1)

    return tuple(
        BloomLogRow(
            moved[row.season],
            row.cultivar,
            row.block,
            {stage: in_year(day, moved[row.season]) for stage, day in row.dates.items()},
        )
        for row in log
    )


def hindcast(weather: DailyTemperatures, log: tuple[BloomLogRow, ...]) -> list[Hindcast]:
    site = Site("hollow", LATITUDE, weather, log)
    candidates = prepare([site], stages=[STAGE])
    rows: list[Hindcast] = []
    for season in seasons_to_score([site], [STAGE]):
        rows += hindcast_season([site], season, stages=[STAGE], heat=candidates, leads=LEADS).rows
    return rows


def skill(rows: list[Hindcast], lead: Lead) -> float:
    return score([row for row in rows if row.lead == lead]).skill


@pytest.fixture(scope="module")
def weather() -> DailyTemperatures:
    use_one_thread()
    return invented_weather(FIRST, LAST)


def test_weather_of_the_same_year_gives_skill(weather: DailyTemperatures) -> None:
    rows = hindcast(weather, invented_log(weather))
    assert len({row.season for row in rows}) == LAST - FIRST + 1
    assert skill(rows, KNOWN_WEATHER) > 0.5
    assert 0.1 < skill(rows, 30) < skill(rows, KNOWN_WEATHER)
    assert skill(rows, OTHERS_SEEN) > 0.5


def test_weather_of_other_years_gives_none(weather: DailyTemperatures) -> None:
    rows = hindcast(weather, shuffled(invented_log(weather), seed=3))
    assert len({row.season for row in rows}) == LAST - FIRST + 1
    # below 0, as the heat of another year misleads
    assert skill(rows, KNOWN_WEATHER) <= 0.1
    assert skill(rows, 30) <= 0.1
