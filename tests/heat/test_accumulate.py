"""Heat of a season: the right days, no sum past a missing day, the next day's Tmin across window edges."""

import datetime as dt
import time

import numpy as np
import pytest

from models.heat.accumulate import SeasonHeat, accumulate_seasons, heat_on
from models.heat.degree_days import daily_degree_days
from models.heat.season import season_window
from models.records import DailyTemperatures, HeatRule

NORTH, SOUTH = 31.0, -34.0


def record(first: str, last: str, seed: int = 7) -> DailyTemperatures:
    dates = np.arange(np.datetime64(first, "D"), np.datetime64(last, "D") + 1)
    random = np.random.default_rng(seed)
    tmin_c = random.uniform(0, 15, dates.size)
    return DailyTemperatures(dates, tmin_c, tmin_c + random.uniform(0, 20, dates.size))


def flat(first: str, temperatures_c: list[float]) -> DailyTemperatures:
    """Days without range: their average-method heat is the temperature less the base."""
    dates = np.datetime64(first, "D") + np.arange(len(temperatures_c))
    return DailyTemperatures(dates, np.array(temperatures_c), np.array(temperatures_c))


def from_28_february(temps: DailyTemperatures) -> SeasonHeat:
    """The heat above 10 °C of 2024."""
    return accumulate_seasons(temps, HeatRule(base_c=10, accumulate_from="02-28"), [2024], NORTH)[2024]


def test_heat_is_summed_through_the_end_of_each_day() -> None:
    heat = from_28_february(flat("2024-02-27", [50.0, 11.0, 12.0, 5.0, 14.0]))
    np.testing.assert_array_equal(heat.daily[:5], [1, 2, 0, 4, np.nan])  # 28 and 29 February, 1 and 2 March
    np.testing.assert_array_equal(heat.accumulated[:4], [1, 3, 3, 7])


def test_nothing_is_summed_past_a_missing_day() -> None:
    heat = from_28_february(flat("2024-02-28", [11.0, np.nan, 12.0, 13.0]))
    np.testing.assert_array_equal(heat.daily[:4], [1, np.nan, 2, 3])
    np.testing.assert_array_equal(heat.accumulated[:4], [1, np.nan, np.nan, np.nan])


def test_days_outside_the_record_are_missing() -> None:
    early = from_28_february(flat("2024-02-26", [11.0, 12.0, 13.0]))
    np.testing.assert_array_equal(early.daily[:4], [3, np.nan, np.nan, np.nan])
    late = from_28_february(flat("2024-12-30", [11.0, 12.0, 13.0]))
    np.testing.assert_array_equal(late.daily[-4:], [np.nan, np.nan, 1, 2])
    assert np.isnan(late.accumulated).all()
    for outside in (flat("2023-02-28", [11.0]), flat("2025-02-28", [11.0]), flat("2024-02-28", [])):
        heat = from_28_february(outside)
        assert heat.daily.shape == heat.accumulated.shape == (308,)  # to the end of 2024
        assert np.isnan(heat.daily).all()


def test_heat_on_a_date() -> None:
    heat = from_28_february(flat("2024-02-28", [11.0, 12.0, 13.0, np.nan]))
    assert heat_on(heat, dt.date(2024, 2, 27)) == 0
    assert heat_on(heat, dt.date(2020, 1, 1)) == 0
    assert heat_on(heat, dt.date(2024, 2, 28)) == 1
    assert heat_on(heat, dt.date(2024, 3, 1)) == 6
    assert np.isnan(heat_on(heat, dt.date(2024, 3, 2)))
    assert np.isnan(heat_on(heat, dt.date(2025, 1, 1)))


@pytest.mark.parametrize("latitude", [NORTH, SOUTH])
@pytest.mark.parametrize("accumulate_from", [None, "03-15", "10-01"])
def test_many_seasons_equal_one_at_a_time(latitude: float, accumulate_from: str | None) -> None:
    temps = record("2019-05-01", "2024-10-31")
    rule = HeatRule(
        method="double_sine", base_c=8, upper_c=28, cutoff="horizontal", accumulate_from=accumulate_from
    )
    seasons = accumulate_seasons(temps, rule, range(2019, 2026), latitude)
    assert list(seasons) == list(range(2019, 2026))
    for season, heat in seasons.items():
        window = season_window(season, latitude, accumulate_from)
        alone = accumulate_seasons(temps, rule, [season], latitude)[season]
        assert heat.window == alone.window == window
        assert heat.daily.shape == (window.days,)
        np.testing.assert_array_equal(heat.daily, alone.daily)
        np.testing.assert_array_equal(heat.accumulated, alone.accumulated)


def test_last_day_of_a_window_takes_its_next_tmin_from_the_record() -> None:
    temps = record("2022-01-01", "2024-12-31")
    rule = HeatRule(method="double_triangle", base_c=5)
    year_end = int(np.flatnonzero(temps.dates == np.datetime64("2022-12-31"))[0])
    across = slice(year_end, year_end + 2)
    with_next = daily_degree_days(temps.tmin_c[across], temps.tmax_c[across], rule)[0]
    heat = accumulate_seasons(temps, rule, [2022], NORTH)[2022]
    cut = accumulate_seasons(temps.before(dt.date(2023, 1, 1)), rule, [2022], NORTH)[2022]
    assert heat.daily[-1] == pytest.approx(with_next)
    assert abs(heat.daily[-1] - cut.daily[-1]) > 0.1


def test_sixty_seasons_under_sixty_rules_take_moments() -> None:
    temps = record("1964-01-01", "2023-12-31")
    rules = [
        HeatRule(method="single_sine", base_c=base, upper_c=30, cutoff="horizontal", accumulate_from=start)
        for base in range(15)
        for start in (None, "02-01", "03-01", "03-26")
    ]
    began = time.process_time()
    for rule in rules:
        accumulate_seasons(temps, rule, range(1964, 2024), NORTH)
    assert time.process_time() - began < 5  # about 0.2 s; a loop over days would take minutes
