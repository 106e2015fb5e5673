"""Missing days: found, counted, and filled only as the named rule says."""

import datetime as dt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.errors import BadInput, MissingDays
from models.heat.gaps import MOST_MISSING_SHARE, Gap, fill_gaps, find_gaps, season_gap_share
from models.records import DailyTemperatures
from models.units import FloatArray

NAN = np.nan


def record(first: str, tmin_c: FloatArray | list[float], day_range: float = 10.0) -> DailyTemperatures:
    minima = np.asarray(tmin_c, dtype=float)
    dates = np.datetime64(first, "D") + np.arange(minima.size)
    return DailyTemperatures(dates, minima, minima + day_range)


def years(first: int, last: int) -> DailyTemperatures:
    """Whole years whose every day is as warm as its year's number less 2000."""
    dates = np.arange(np.datetime64(f"{first}-01-01"), np.datetime64(f"{last + 1}-01-01"))
    tmin_c = dates.astype("datetime64[Y]").astype(np.float64) + (1970 - 2000)
    return record(f"{first}-01-01", tmin_c)


def without(temps: DailyTemperatures, *days: str) -> DailyTemperatures:
    missing = np.isin(temps.dates, np.array(days, dtype="datetime64[D]"))
    tmin_c, tmax_c = np.where(missing, NAN, temps.tmin_c), np.where(missing, NAN, temps.tmax_c)
    return DailyTemperatures(temps.dates, tmin_c, tmax_c)


def test_gaps_are_runs_of_missing_days() -> None:
    temps = record("2024-02-27", [NAN, 3, NAN, NAN, 4, 5, NAN])
    assert find_gaps(temps) == (
        Gap(dt.date(2024, 2, 27), dt.date(2024, 2, 27), 1),
        Gap(dt.date(2024, 2, 29), dt.date(2024, 3, 1), 2),
        Gap(dt.date(2024, 3, 4), dt.date(2024, 3, 4), 1),
    )
    assert find_gaps(record("2024-02-27", [1, 2])) == ()
    assert find_gaps(record("2024-02-27", [])) == ()


def test_short_gaps_are_filled_by_a_straight_line_and_long_ones_left() -> None:
    temps = record("2024-03-01", [4, NAN, NAN, NAN, 8, NAN, NAN, NAN, NAN, 3, NAN, 5])
    filled = fill_gaps(temps, "fill_short")
    expected = [4, 5, 6, 7, 8, NAN, NAN, NAN, NAN, 3, 4, 5]
    np.testing.assert_allclose(filled.temperatures.tmin_c, expected, rtol=0, atol=1e-12)
    np.testing.assert_allclose(filled.temperatures.tmax_c, np.add(expected, 10), rtol=0, atol=1e-12)
    assert np.flatnonzero(filled.interpolated).tolist() == [1, 2, 3, 10]
    assert not filled.from_normals.any()
    assert np.isnan(temps.tmin_c).sum() == 8  # the record as measured is left as it was


def test_length_of_a_short_gap_can_be_chosen() -> None:
    temps = record("2024-03-01", [4, NAN, NAN, 10])
    assert np.isnan(fill_gaps(temps, "fill_short", longest_short_gap_days=1).temperatures.tmin_c).sum() == 2
    assert np.isnan(fill_gaps(temps, "fill_short", longest_short_gap_days=2).temperatures.tmin_c).sum() == 0


def test_gaps_at_either_end_have_nothing_to_lean_on() -> None:
    filled = fill_gaps(record("2024-03-01", [NAN, 4, 5, NAN]), "fill_short")
    np.testing.assert_array_equal(filled.temperatures.tmin_c, [NAN, 4, 5, NAN])
    assert not filled.interpolated.any()


extreme = st.floats(-60, 60)


@given(ends=st.tuples(extreme, extreme, extreme, extreme), days=st.integers(1, 3))
def test_interpolated_minima_never_exceed_their_maxima(
    ends: tuple[float, float, float, float], days: int
) -> None:
    first, last = sorted(ends[:2]), sorted(ends[2:])
    tmin_c, tmax_c = (np.array([first[side], *([NAN] * days), last[side]]) for side in (0, 1))
    dates = np.datetime64("2024-03-01") + np.arange(days + 2)
    filled = fill_gaps(DailyTemperatures(dates, tmin_c, tmax_c), "fill_short").temperatures
    assert np.all(filled.tmin_c <= filled.tmax_c)


def test_refuse_names_the_first_gaps_and_counts_all() -> None:
    temps = record("2024-03-01", [4, NAN, NAN, 8, NAN, 5, NAN, 6, NAN, NAN, 7, NAN, 8])
    with pytest.raises(MissingDays) as refused:
        fill_gaps(temps, "refuse")
    message = str(refused.value)
    assert "missing on 7 days: 2024-03-02 to 2024-03-03 (2 d), 2024-03-05" in message
    assert "2024-03-07" in message
    assert "2024-03-09" not in message
    assert "and 2 more gaps" in message


def test_refuse_lets_a_whole_record_through() -> None:
    temps = record("2024-03-01", [4, 5])
    assert fill_gaps(temps, "refuse").temperatures is temps


def test_normals_are_means_of_the_other_years() -> None:
    temps = without(years(2010, 2014), "2012-06-10")
    filled = fill_gaps(temps, "fill_normal")
    day = int(np.flatnonzero(temps.dates == np.datetime64("2012-06-10"))[0])
    assert filled.temperatures.tmin_c[day] == pytest.approx((10 + 11 + 13 + 14) / 4)
    assert filled.temperatures.tmax_c[day] == pytest.approx((10 + 11 + 13 + 14) / 4 + 10)
    assert np.flatnonzero(filled.from_normals).tolist() == [day]
    assert not filled.interpolated.any()


def test_normals_look_three_days_to_either_side() -> None:
    """One other year, known only near the same date; the days around the gap itself do not count."""
    first_year = np.full(365, NAN)
    june_10 = int((np.datetime64("2021-06-10") - np.datetime64("2021-01-01")).astype(int))
    first_year[[june_10 - 4, june_10 - 3, june_10 + 3, june_10 + 4]] = [100, 10, 20, 100]
    second_year = np.full(365, 40.0)
    second_year[june_10] = NAN
    temps = record("2021-01-01", np.concatenate([first_year, second_year]))
    filled = fill_gaps(temps, "fill_normal").temperatures
    assert filled.tmin_c[365 + june_10] == pytest.approx((10 + 20) / 2)


def test_normals_of_29_february_are_those_of_1_march() -> None:
    tmin_c = np.arange(365 + 366 + 365, dtype=float)  # 2023, the leap year 2024, 2025
    temps = without(record("2023-01-01", tmin_c), "2024-02-29")
    filled = fill_gaps(temps, "fill_normal").temperatures
    # By hand: 1 March is day 59 of 2023 and of 2025, and its seven-day mean is its own value.
    assert filled.tmin_c[365 + 59] == pytest.approx((59 + (365 + 366 + 59)) / 2)


def test_normals_reach_over_new_year() -> None:
    temps = without(years(2010, 2012), "2012-01-01")
    filled = fill_gaps(temps, "fill_normal").temperatures
    # By hand: around 1 January 2010 four days of 2010 (the three before are not in the record), around
    # 1 January 2011 three days of 2010 and four of 2011, around 1 January 2013 three days of 2012.
    expected = (4 * 10 + 3 * 10 + 4 * 11 + 3 * 12) / 14
    assert filled.tmin_c[730] == pytest.approx(expected)


def test_normals_at_the_edges_of_a_single_year_come_from_its_other_edge() -> None:
    temps = without(record("2013-01-01", np.arange(365.0)), "2013-12-31")
    filled = fill_gaps(temps, "fill_normal").temperatures
    assert filled.tmin_c[-1] == pytest.approx(
        (0 + 1 + 2) / 3
    )  # 1 to 3 January, within three days of 31 December


def test_days_that_no_other_year_knows_stay_missing() -> None:
    temps = without(years(2012, 2012), "2012-06-10", "2012-06-11")
    filled = fill_gaps(temps, "fill_normal")
    assert np.isnan(filled.temperatures.tmin_c).sum() == 2
    assert not filled.from_normals.any()
    assert fill_gaps(record("2012-06-10", []), "fill_normal").temperatures.dates.size == 0


def test_unknown_rule_is_refused_with_the_known_ones() -> None:
    with pytest.raises(BadInput) as refused:
        fill_gaps(record("2024-03-01", [4.0]), "guess")  # type: ignore[arg-type]
    assert "refuse, fill_short, fill_normal" in refused.value.problems[0].problem


@pytest.mark.parametrize(
    ("first", "last", "share"),
    [
        ("2024-03-01", "2024-03-10", 2 / 10),
        ("2024-03-03", "2024-03-04", 2 / 2),
        ("2024-03-05", "2024-03-10", 0.0),
        ("2024-02-20", "2024-03-10", (10 + 2) / 20),  # ten days before the record, 29 February among them
        ("2024-03-10", "2024-03-13", 3 / 4),
        ("2025-03-10", "2025-03-13", 1.0),
        ("2024-03-10", "2024-03-09", 0.0),
    ],
)
def test_share_of_days_missing(first: str, last: str, share: float) -> None:
    temps = record("2024-03-01", [1, 2, NAN, NAN, 5, 6, 7, 8, 9, 10])
    found = season_gap_share(temps, dt.date.fromisoformat(first), dt.date.fromisoformat(last))
    assert found == pytest.approx(share)


def test_the_five_per_cent_rule() -> None:
    tmin_c = np.ones(100)
    tmin_c[10:15] = NAN
    day = dt.date(2024, 3, 1), dt.date(2024, 6, 8)
    assert season_gap_share(record("2024-03-01", tmin_c), *day) <= MOST_MISSING_SHARE
    tmin_c[15] = NAN
    assert season_gap_share(record("2024-03-01", tmin_c), *day) > MOST_MISSING_SHARE
