"""Levels of springs, and what traces are moved by: by hand, and on a climate that warms."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from models.bloom.climate import shift_to, spring_level, spring_means
from models.bloom.traces import season_traces, trace_of_draws
from models.records import DailyTemperatures, HeatRule

NORTH, SOUTH = 45.0, -34.0


def record(first: str, last: str) -> DailyTemperatures:
    """Every day 10 degrees, 4 to 16."""
    dates = np.arange(np.datetime64(first, "D"), np.datetime64(last, "D") + 1)
    return DailyTemperatures(dates, np.full(dates.size, 4.0), np.full(dates.size, 16.0))


def warmer(temperatures: DailyTemperatures, first: str, last: str, by_c: float) -> DailyTemperatures:
    inside = (temperatures.dates >= np.datetime64(first)) & (temperatures.dates <= np.datetime64(last))
    return DailyTemperatures(
        temperatures.dates, temperatures.tmin_c + by_c * inside, temperatures.tmax_c + by_c * inside
    )


def test_spring_is_march_to_may_in_the_north() -> None:
    temperatures = warmer(record("2018-01-01", "2020-12-31"), "2019-03-01", "2019-05-31", 3.0)
    temperatures = warmer(temperatures, "2019-06-01", "2020-02-29", 50.0)
    seasons, means = spring_means(temperatures, NORTH)
    assert seasons.tolist() == [2018, 2019, 2020]
    assert_allclose(means, [10, 13, 10], rtol=1e-12)


def test_spring_is_september_to_november_of_the_year_before_the_label_in_the_south() -> None:
    temperatures = warmer(record("2018-07-01", "2020-12-31"), "2019-09-01", "2019-11-30", 3.0)
    seasons, means = spring_means(temperatures, SOUTH)
    assert seasons.tolist() == [2019, 2020, 2021]
    assert_allclose(means, [10, 13, 10], rtol=1e-12)


@pytest.mark.parametrize(("missing", "known"), [(4, True), (5, False)])
def test_a_spring_with_more_than_one_day_in_twenty_missing_is_not_known(missing: int, known: bool) -> None:
    # 5 % of 92 days are 4.6
    whole = record("2018-01-01", "2020-12-31")
    gone = (whole.dates >= np.datetime64("2019-04-10")) & (
        whole.dates < np.datetime64("2019-04-10") + np.timedelta64(missing, "D")
    )
    tmin_c, tmax_c = (np.where(gone, np.nan, extreme) for extreme in (whole.tmin_c, whole.tmax_c))
    seasons, means = spring_means(DailyTemperatures(whole.dates, tmin_c, tmax_c), NORTH)
    assert (2019 in seasons) == known
    assert_allclose(means, 10.0, rtol=1e-12)


def test_level_by_hand() -> None:
    # at 2020 the weights of 2005 and 2020 are exp(-1) and 1: (10 / e + 12) / (1 / e + 1)
    seasons, means = np.array([2005, 2020]), np.array([10.0, 12.0])
    late = (10 / np.e + 12) / (1 / np.e + 1)
    early = (10 + 12 / np.e) / (1 + 1 / np.e)
    assert_allclose(
        spring_level(seasons, means, np.array([2020, 2005, 2035])), [late, early, late], rtol=1e-12
    )
    # in the middle both count alike, and after both they stay as they were, however far
    assert_allclose(spring_level(np.array([2010, 2020]), means, np.array([2015])), 11.0, rtol=1e-12)
    assert_allclose(spring_level(seasons, means, np.array([30_000])), late, rtol=1e-12)


def test_shift_by_hand_from_seasons_before_alone() -> None:
    temperatures = warmer(record("2005-01-01", "2022-12-31"), "2013-01-01", "2020-12-31", 2.0)
    kept = (temperatures.dates < np.datetime64("2006-01-01")) | (
        temperatures.dates >= np.datetime64("2020-01-01")
    )
    tmin_c, tmax_c = (
        np.where(kept, extreme, np.nan) for extreme in (temperatures.tmin_c, temperatures.tmax_c)
    )
    sparse = DailyTemperatures(temperatures.dates, tmin_c, tmax_c)
    # springs before 2021: 2005 at 10, 2020 at 12 degrees; both levels as in the test before, apart by
    # 2 (1 - 1/e) / (1 + 1/e) = 0.9242
    by = 2 * (1 - 1 / np.e) / (1 + 1 / np.e)
    assert_allclose(
        shift_to(2021, np.array([2005, 2020, 2022]), sparse, NORTH), [by, 0.0, 0.0], rtol=1e-12, atol=1e-12
    )
    # the springs of 2021 and 2022 do not tell
    hotter = warmer(sparse, "2021-01-01", "2022-12-31", 9.0)
    assert_array_equal(
        shift_to(2021, np.array([2005, 2022]), hotter, NORTH),
        shift_to(2021, np.array([2005, 2022]), sparse, NORTH),
    )


def test_without_a_spring_before_nothing_is_moved() -> None:
    assert_array_equal(shift_to(2020, np.array([2021]), record("2020-01-01", "2021-12-31"), NORTH), [0.0])
    one = record("2019-01-01", "2020-02-01")
    assert_allclose(shift_to(2020, np.array([2019]), one, NORTH), [0.0], atol=1e-12)


def test_traces_are_moved_where_they_go_on_and_not_where_the_season_is_known() -> None:
    temperatures = warmer(record("2001-01-01", "2021-12-31"), "2011-01-01", "2021-12-31", 2.0)
    found = season_traces(
        temperatures, latitude=NORTH, season=2021, as_of=dt.date(2021, 4, 1), rule=HeatRule()
    )
    assert found.seasons == tuple(range(2001, 2021))
    assert_allclose(
        found.shift_c, shift_to(2021, np.arange(2001, 2021), temperatures.before(dt.date(2021, 4, 1)), NORTH)
    )
    assert 0.3 < found.shift_c[0] < 2.0
    assert_allclose(found.shift_c[-1], 0.0, atol=0.15)
    assert_allclose(found.tmin_c[:, : found.known_days], 6.0, rtol=1e-12)
    of_past = np.where(np.array(found.seasons) < 2011, 4.0, 6.0)
    assert_allclose(found.tmin_c[:, found.known_days :], (of_past + found.shift_c)[:, None].repeat(275, 1))


def test_a_climate_that_warms_is_foreseen_with_less_bias() -> None:
    """Thirty known years that warm by 0.08 degrees a year, 20 times over: mean temperature in May, foreseen in March.

    On a straight line the draws' mean year lies 7.8 years back, and after the move 5.9 (derived: the weights of
    `trace_of_draws` and of `spring_level` on 1, 2, ... 30 years back), so a quarter of the bias is gone.
    """
    random = np.random.default_rng(20)
    dates = np.arange(np.datetime64("1990-01-01"), np.datetime64("2020-03-01"))
    day_of_year = (dates - dates.astype("datetime64[Y]")).astype(np.float64)
    year = dates.astype("datetime64[Y]").astype(np.int64) - 20
    as_they_were, moved = [], []
    for _ in range(20):
        mean = 12 - 9 * np.cos(2 * np.pi * (day_of_year - 15) / 365.25) + 0.08 * year
        mean += random.normal(0, 0.5, 31)[year] + random.normal(0, 3.0, dates.size)
        found = season_traces(
            DailyTemperatures(dates, mean - 5, mean + 5),
            latitude=NORTH,
            season=2020,
            as_of=dt.date(2020, 3, 1),
            rule=HeatRule(),
        )
        followed = trace_of_draws(found.seasons, 2020, draws=2000, random=random)
        first, end = (found.window.day_index(dt.date(2020, month, 1)) for month in (5, 6))
        may = found.tmin_c[:, first:end].mean(axis=1) + 5
        truth = np.mean(12 - 9 * np.cos(2 * np.pi * (np.arange(first, end) - 15) / 365.25)) + 0.08 * 30
        moved.append(may[followed].mean() - truth)
        as_they_were.append((may - found.shift_c)[followed].mean() - truth)
    assert np.mean(as_they_were) == pytest.approx(-0.08 * 7.8, abs=0.1)
    assert np.mean(moved) == pytest.approx(-0.08 * 5.9, abs=0.1)
    assert np.mean(moved) > 0.85 * np.mean(as_they_were)
