"""Possible rests of a season: what is known, an outlook, and the same calendar days of past seasons."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from models.bloom.observations import IntArray
from models.bloom.traces import Traces, crossing_days, season_traces, trace_of_draws
from models.errors import NotEnoughData, Remedy
from models.heat.degree_days import daily_degree_days
from models.records import DailyTemperatures, GapRule, HeatRule
from models.units import FloatArray
from tests.bloom.simulated import day, weather

RULE = HeatRule()
RECORD = weather("2015-01-01", "2021-12-31", seed=1)


def traces(
    as_of: str,
    *,
    temperatures: DailyTemperatures = RECORD,
    season: int = 2020,
    latitude: float = 33.0,
    rule: HeatRule = RULE,
    gap_rule: GapRule = "fill_short",
    outlook: DailyTemperatures | None = None,
    history: DailyTemperatures | None = None,
) -> Traces:
    return season_traces(
        temperatures,
        latitude=latitude,
        season=season,
        as_of=day(as_of),
        rule=rule,
        gap_rule=gap_rule,
        outlook=outlook,
        history=history,
    )


def part(temperatures: DailyTemperatures, first: str, last: str) -> DailyTemperatures:
    kept = (temperatures.dates >= np.datetime64(first)) & (temperatures.dates <= np.datetime64(last))
    return DailyTemperatures(temperatures.dates[kept], temperatures.tmin_c[kept], temperatures.tmax_c[kept])


def without(temperatures: DailyTemperatures, first: str, last: str) -> DailyTemperatures:
    gone = (temperatures.dates >= np.datetime64(first)) & (temperatures.dates <= np.datetime64(last))
    return DailyTemperatures(
        temperatures.dates,
        np.where(gone, np.nan, temperatures.tmin_c),
        np.where(gone, np.nan, temperatures.tmax_c),
    )


def tmin_on(temperatures: DailyTemperatures, date: str) -> float:
    return float(temperatures.tmin_c[temperatures.dates == np.datetime64(date)][0])


def test_past_seasons_continue_on_the_same_calendar_days() -> None:
    found = traces("2020-02-10")
    assert found.seasons == (2015, 2016, 2017, 2018, 2019)
    assert found.tmin_c.shape == (5, 366)
    for date in ("02-28", "03-01", "07-15", "12-31"):
        index = found.window.day_index(day(f"2020-{date}"))
        expected = [tmin_on(RECORD, f"{season}-{date}") for season in found.seasons] + found.shift_c
        assert_array_equal(found.tmin_c[:, index], expected)
    leap_day = found.window.day_index(day("2020-02-29"))
    of_the_day = ["2015-02-28", "2016-02-29", "2017-02-28", "2018-02-28", "2019-02-28"]
    expected = [tmin_on(RECORD, date) for date in of_the_day] + found.shift_c
    assert_array_equal(found.tmin_c[:, leap_day], expected)


def test_a_common_season_passes_over_the_leap_days_of_past_ones() -> None:
    found = traces("2021-02-10", season=2021)
    assert found.tmin_c.shape == (6, 365)
    place = found.seasons.index(2020)
    of_2020 = found.tmin_c[place] - found.shift_c[place]
    for date in ("02-28", "03-01"):
        expected = pytest.approx(tmin_on(RECORD, f"2020-{date}"), rel=1e-12)
        assert of_2020[found.window.day_index(day(f"2021-{date}"))] == expected


def test_what_is_known_is_the_same_in_all_traces() -> None:
    found = traces("2020-05-20")
    known = part(RECORD, "2020-01-01", "2020-05-19")
    assert found.known_days == 140
    assert found.temperatures_through == day("2020-05-19")
    heat = np.cumsum(daily_degree_days(known.tmin_c, known.tmax_c, RULE))
    assert_allclose(found.accumulated[:, :140], np.tile(heat, (5, 1)), rtol=1e-12)
    assert found.accumulated[:, 150].std() > 0
    assert_allclose(found.expected, found.accumulated.mean(axis=0), rtol=1e-12)
    assert np.all(np.diff(found.accumulated, axis=1) >= 0)


def test_later_days_of_the_record_are_not_looked_at() -> None:
    cut = part(RECORD, "2015-01-01", "2020-05-19")
    found, of_cut = traces("2020-05-20"), traces("2020-05-20", temperatures=cut)
    assert found.seasons == of_cut.seasons
    assert_array_equal(found.accumulated, of_cut.accumulated)
    assert_array_equal(found.tmin_c, of_cut.tmin_c)


def test_history_brings_seasons_from_both_sides() -> None:
    found = traces("2020-05-20", history=RECORD)
    assert found.seasons == (2015, 2016, 2017, 2018, 2019, 2021)
    assert_array_equal(found.accumulated[:5], traces("2020-05-20").accumulated)


def test_a_rest_with_more_than_one_day_in_twenty_missing_continues_nothing() -> None:
    # From 20 May a leap season has 226 days left, of which 11 are at most 5 %.
    few, many = without(RECORD, "2017-07-01", "2017-07-11"), without(RECORD, "2017-07-01", "2017-07-12")
    assert traces("2020-05-20", temperatures=few).seasons == (2015, 2016, 2017, 2018, 2019)
    assert traces("2020-05-20", temperatures=many).seasons == (2015, 2016, 2018, 2019)
    before = without(RECORD, "2017-02-01", "2017-05-01")
    assert traces("2020-05-20", temperatures=before).seasons == (2015, 2016, 2017, 2018, 2019)


def test_missing_days_of_a_rest_take_the_other_traces_mean() -> None:
    found = traces("2020-05-20", temperatures=without(RECORD, "2017-07-01", "2017-07-11"))
    index = found.window.day_index(day("2020-07-05"))
    others = [tmin_on(RECORD, f"{season}-07-05") for season in (2015, 2016, 2018, 2019)]
    moved = np.array(others) + found.shift_c[[0, 1, 3, 4]]
    assert found.tmin_c[2, index] == pytest.approx(np.mean(moved), rel=1e-12)


def test_a_short_gap_of_this_season_is_interpolated_and_a_long_one_filled_by_others_and_named() -> None:
    short = traces("2020-05-20", temperatures=without(RECORD, "2020-03-10", "2020-03-12"))
    ends = tmin_on(RECORD, "2020-03-09"), tmin_on(RECORD, "2020-03-13")
    index = short.window.day_index(day("2020-03-11"))
    assert_allclose(short.tmin_c[:, index], np.mean(ends), rtol=1e-12)
    assert short.filled == ()
    long = traces("2020-05-20", temperatures=without(RECORD, "2020-03-10", "2020-03-13"))
    others = [tmin_on(RECORD, f"{season}-03-11") for season in range(2015, 2020)]
    assert_allclose(long.tmin_c[:, index], np.mean(others + long.shift_c), rtol=1e-12)
    assert [(gap.first, gap.last, gap.days) for gap in long.filled] == [
        (day("2020-03-10"), day("2020-03-13"), 4)
    ]


def test_a_gap_that_no_other_season_knows_is_refused() -> None:
    record = part(RECORD, "2019-06-01", "2021-12-31")
    with pytest.raises(NotEnoughData, match="2020-03-10 to 2020-03-13, and no other season"):
        traces("2020-05-20", temperatures=without(record, "2020-03-10", "2020-03-13"))


def test_a_station_that_lags_leaves_its_last_days_to_the_traces() -> None:
    found = traces("2020-05-20", temperatures=part(RECORD, "2015-01-01", "2020-05-10"))
    assert found.temperatures_through == day("2020-05-10")
    assert found.known_days == 131
    assert found.tmin_c[0, 131] == tmin_on(RECORD, "2015-05-11") + found.shift_c[0]


def test_an_outlook_is_used_from_the_first_unknown_day_to_its_first_missing_one() -> None:
    outlook = without(weather("2020-05-15", "2020-05-30", seed=9), "2020-05-26", "2020-05-27")
    found = traces("2020-05-20", outlook=outlook)
    plain = traces("2020-05-20")
    assert found.outlook_through == day("2020-05-25")
    assert plain.outlook_through is None
    first, end = (found.window.day_index(day(date)) for date in ("2020-05-20", "2020-05-26"))
    assert_array_equal(found.tmin_c[:, :first], plain.tmin_c[:, :first])
    assert_array_equal(found.tmin_c[:, first:end], np.tile(outlook.tmin_c[5:11], (5, 1)))
    assert_array_equal(found.tmin_c[:, end:], plain.tmin_c[:, end:])


@pytest.mark.parametrize("first", ["2020-05-21", "2021-01-01"])
def test_an_outlook_that_starts_too_late_is_not_used(first: str) -> None:
    found = traces("2020-05-20", outlook=weather(first, "2021-02-01", seed=9))
    assert found.outlook_through is None
    assert_array_equal(found.accumulated, traces("2020-05-20").accumulated)


def test_before_the_first_temperature_of_a_season_all_of_it_is_taken_from_others() -> None:
    found = traces("2020-01-01")
    assert found.known_days == 0
    assert found.accumulated.shape == (5, 366)
    ahead = traces("2019-11-15", season=2020)
    assert ahead.known_days == 0
    assert 2018 in ahead.seasons


@pytest.mark.parametrize("as_of", ["2020-12-31", "2021-01-01", "2021-06-01"])
def test_a_season_that_is_known_to_its_end(as_of: str) -> None:
    found = traces(as_of)
    known = part(RECORD, "2020-01-01", "2020-12-31")
    heat = np.cumsum(daily_degree_days(known.tmin_c, known.tmax_c, RULE))
    assert_allclose(found.accumulated[0, :365], heat[:365], rtol=1e-12)
    if as_of != "2020-12-31":
        assert found.known_days == 366
        assert len(found.seasons) == 1
        assert_allclose(found.accumulated, heat[None, :], rtol=1e-12)


def test_southern_seasons_run_from_july() -> None:
    record = weather("2015-01-01", "2021-12-31", seed=2, south=True)
    found = traces("2020-10-20", temperatures=record, season=2021, latitude=-34.0)
    assert (found.window.start, found.window.end) == (day("2020-07-01"), day("2021-07-01"))
    assert found.known_days == 111
    for date, past in (("2020-11-05", "2019-11-05"), ("2021-02-28", "2020-02-28")):
        index = found.window.day_index(day(date))
        trace = found.seasons.index(2020)
        assert found.tmin_c[trace, index] == tmin_on(record, past) + found.shift_c[trace]


def test_one_season_only_has_nothing_to_continue_with() -> None:
    with pytest.raises(NotEnoughData, match="can continue season 2020") as refused:
        traces("2020-05-20", temperatures=part(RECORD, "2020-01-01", "2021-12-31"))
    assert refused.value.remedy is Remedy.A_WHOLE_PAST_YEAR


def test_the_gap_rule_of_a_fit_does_not_refuse_gaps_in_past_seasons() -> None:
    gappy = without(RECORD, "2017-07-01", "2017-07-02")
    assert 2017 in traces("2020-05-20", temperatures=gappy, gap_rule="refuse").seasons


@given(
    data=st.data(),
    heats=st.lists(st.lists(st.integers(0, 4), min_size=8, max_size=8), min_size=1, max_size=3),
)
def test_crossing_days_against_a_walk_through_the_days(data: st.DataObject, heats: list[list[int]]) -> None:
    accumulated = np.cumsum(np.array(heats, dtype=np.float64), axis=1)
    draws = data.draw(st.integers(1, 5))
    trace_of = np.array(data.draw(st.lists(st.integers(0, len(heats) - 1), min_size=draws, max_size=draws)))
    asked = data.draw(st.lists(st.integers(-2, 36), min_size=2 * draws, max_size=2 * draws))
    heat = np.array(asked, dtype=np.float64).reshape(draws, 2)
    assert_array_equal(crossing_days(accumulated, trace_of, heat), walk(accumulated, trace_of, heat))


def walk(accumulated: FloatArray, trace_of: IntArray, heat: FloatArray) -> FloatArray:
    """The first day that has enough heat, by looking at each."""
    days = np.full(heat.shape, np.nan)
    for draw, trace in enumerate(trace_of):
        for place, needed in enumerate(heat[draw]):
            for number, reached in enumerate(accumulated[trace]):
                if reached >= needed:
                    days[draw, place] = number
                    break
    return days


def test_nearer_seasons_are_followed_more_often() -> None:
    followed = trace_of_draws((1990, 2005, 2021), 2020, draws=10_000, random=np.random.default_rng(1))
    weights = np.exp(-np.array([30, 15, 1]) / 8)
    assert_allclose(np.bincount(followed) / 10_000, weights / weights.sum(), atol=1e-4, rtol=0)


def test_no_order_of_traces_among_draws() -> None:
    """Else draws that are cut in halves would hold different weather."""
    followed = trace_of_draws((2019, 2018), 2020, draws=1000, random=np.random.default_rng(1))
    assert 0.4 < np.mean(followed[:500] == 0) < 0.6
