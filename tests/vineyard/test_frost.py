"""Frost around bloom, from traces and draws of known numbers."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

from models.bloom.traces import Traces
from models.errors import BadInput
from models.heat.gaps import Gap
from models.heat.season import season_window
from models.units import FloatArray
from models.vineyard.frost import FrostLimits, FrostNight, StageFrost, frost, frost_chance, frost_in_outlook

WINDOW = season_window(2026, 31.0)
STAGES = ["budbreak", "bloom_start", "full_bloom", "bloom_end"]
NAN = np.nan


def traces(tmin_c: FloatArray, *, known_days: int = 0, filled: tuple[Gap, ...] = ()) -> Traces:
    seasons = tuple(range(2001, 2001 + len(tmin_c)))
    return Traces(
        window=WINDOW,
        seasons=seasons,
        shift_c=np.zeros(len(seasons)),
        tmin_c=tmin_c,
        accumulated=np.zeros_like(tmin_c),
        known_days=known_days,
        temperatures_through=None,
        outlook_through=None,
        filled=filled,
    )


def nights(*cold: dict[int, float]) -> FloatArray:
    """One trace each, 10 °C but on the given days."""
    tmin_c = np.full((len(cold), WINDOW.days), 10.0)
    for row, days in zip(tmin_c, cold, strict=True):
        row[list(days)] = list(days.values())
    return tmin_c


def draws_of(days: list[tuple[float, float, float, float]], seasons: list[int]) -> xr.Dataset:
    return xr.Dataset(
        {
            "day": (("draw", "block", "stage"), np.array(days)[:, np.newaxis, :]),
            "trace_season": ("draw", seasons),
        },
        coords={"block": ["b1"], "stage": STAGES},
        attrs={"season_start": "2026-01-01"},
    )


def at(day: int) -> dt.date:
    return WINDOW.date_at(day)


SPRING = (80.0, 130.0, 134.0, 140.0)


def test_chance_counts_cold_nights_of_each_draws_own_trace() -> None:
    tmin_c = nights({90: -1.0}, {135: 0.0}, {79: -5.0, 141: -5.0}, {})
    draws = draws_of([SPRING] * 8, [2001, 2002, 2003, 2004, 2001, 2001, 2004, 2004])
    (found,) = frost(traces(tmin_c), draws, as_of=at(10))
    assert found.chance == pytest.approx(4 / 8)  # 2001 three times after budbreak, 2002 once in bloom
    assert found.chance_in_bloom == pytest.approx(1 / 8)
    assert found.from_budbreak
    (stricter,) = frost(traces(tmin_c), draws, as_of=at(10), limit_c=-0.5)
    assert stricter.chance == pytest.approx(3 / 8)
    assert stricter.chance_in_bloom == 0.0


def test_both_ends_of_the_span_count() -> None:
    for day, expected in ((79, 0.0), (80, 1.0), (140, 1.0), (141, 0.0)):
        (found,) = frost(traces(nights({day: -1.0})), draws_of([SPRING], [2001]), as_of=at(10))
        assert (day, found.chance) == (day, expected)


def test_nights_before_today_are_listed_and_no_longer_a_chance() -> None:
    tmin_c = nights({60: -3.0, 90: -1.5, 95: 0.0})
    (found,) = frost(traces(tmin_c, known_days=100), draws_of([SPRING], [2001]), as_of=at(100))
    assert (found.chance, found.chance_in_bloom) == (0.0, 0.0)
    assert found.frost_nights == (FrostNight(at(90), -1.5), FrostNight(at(95), 0.0))
    (earlier,) = frost(traces(tmin_c, known_days=100), draws_of([SPRING], [2001]), as_of=at(95))
    assert (earlier.chance, earlier.frost_nights) == (1.0, (FrostNight(at(90), -1.5),))


def test_a_night_in_bloom_that_is_past_is_no_longer_a_chance() -> None:
    known = traces(nights({132: -1.0}), known_days=135)
    (found,) = frost(known, draws_of([SPRING], [2001]), as_of=at(135))
    assert (found.chance, found.chance_in_bloom) == (0.0, 0.0)
    assert found.frost_nights == (FrostNight(at(132), -1.0),)


def test_nights_count_from_the_median_budbreak_and_filled_gaps_are_no_measurement() -> None:
    late = (95.0, 130.0, 134.0, 140.0)
    tmin_c = nights({90: -1.5}, {90: -1.5})
    known = traces(tmin_c, known_days=100)
    half = draws_of([SPRING, late], [2001, 2002])
    assert len(frost(known, half, as_of=at(100))[0].frost_nights) == 1
    most_later = draws_of([SPRING, late, late], [2001, 2002, 2002])
    assert frost(known, most_later, as_of=at(100))[0].frost_nights == ()
    gap = traces(tmin_c, known_days=100, filled=(Gap(at(88), at(92), 5),))
    assert frost(gap, half, as_of=at(100))[0].frost_nights == ()


def test_without_a_forecast_of_budbreak_it_counts_from_today() -> None:
    draws = draws_of([SPRING], [2001]).sel(stage=STAGES[1:])
    tmin_c = nights({60: -3.0, 70: -3.0})
    (found,) = frost(traces(tmin_c, known_days=65), draws, as_of=at(65))
    assert (found.chance, found.from_budbreak, found.frost_nights) == (1.0, False, ())
    assert frost(traces(tmin_c, known_days=75), draws, as_of=at(75))[0].chance == 0.0


def test_without_a_forecast_of_bloom_there_is_no_chance() -> None:
    (found,) = frost(traces(nights({90: -1.0})), draws_of([(NAN,) * 4], [2001]), as_of=at(10))
    assert (found.chance, found.chance_in_bloom) == (None, None)


def test_bloom_that_does_not_end_this_season_stays_at_risk_until_its_last_day() -> None:
    tmin_c = nights({364: -1.0})
    assert (
        frost(traces(tmin_c), draws_of([(80, 130, 134, NAN)], [2001]), as_of=at(10))[0].chance_in_bloom == 1.0
    )
    draws = draws_of(
        [(80, NAN, NAN, NAN), SPRING], [2001, 2001]
    )  # the first never blooms, but stands in leaf
    (found,) = frost(traces(tmin_c), draws, as_of=at(10))
    assert (found.chance, found.chance_in_bloom) == (0.5, 0.0)


@given(
    st.lists(st.lists(st.booleans(), min_size=12, max_size=12), min_size=1, max_size=3),
    st.lists(st.tuples(st.integers(0, 2), st.integers(0, 14), st.integers(0, 14)), min_size=1, max_size=6),
)
def test_chance_equals_a_look_at_each_night(
    cold: list[list[bool]], draws: list[tuple[int, int, int]]
) -> None:
    trace_of = [min(trace, len(cold) - 1) for trace, _, _ in draws]
    expected = np.mean(
        [any(cold[trace][first : last + 1]) for trace, (_, first, last) in zip(trace_of, draws, strict=True)]
    )
    first, last = (np.array([draw[place] for draw in draws], dtype=np.float64) for place in (1, 2))
    assert frost_chance(np.array(cold), np.array(trace_of), first=first, last=last) == pytest.approx(expected)


def test_each_stages_limit_holds_until_the_next_one_and_the_last_until_bloom_end() -> None:
    limits = FrostLimits({"budbreak": -4.0, "bloom_start": -1.0}, "a sheet on other grapes")
    tmin_c = nights({100: -3.0, 135: -0.5}, {100: -4.0}, {135: -1.0}, {129: -4.0, 140: -2.0})
    draws = draws_of([SPRING] * 4, [2001, 2002, 2003, 2004])
    (found,) = frost(traces(tmin_c), draws, as_of=at(10), limits=limits)
    assert found.by_stage == (
        StageFrost("budbreak", "bloom_start", -4.0, 0.5),
        StageFrost("bloom_start", "bloom_end", -1.0, 0.5),
    )
    (today,) = frost(traces(tmin_c), draws, as_of=at(130), limits=limits)
    assert [each.chance for each in today.by_stage] == [0.0, 0.5]  # nights that are over are no chance
    unknown = draws_of([(NAN, 130.0, 134.0, 140.0)], [2001])
    (no_budbreak,) = frost(traces(tmin_c), unknown, as_of=at(10), limits=limits)
    assert [each.chance for each in no_budbreak.by_stage] == [None, 0.0]
    for wrong in ({}, {"veraison": -1.0}, {"budbreak": -40.0}):
        with pytest.raises(BadInput):
            FrostLimits(wrong, "nobody")


@given(st.floats(-5, 8), st.floats(-4, 4), st.integers(0, 3))
def test_a_cordon_colder_by_so_much_is_a_limit_higher_by_so_much(
    colder: float, limit_c: float, seed: int
) -> None:
    random = np.random.default_rng(seed)
    known = traces(random.uniform(-5, 12, (3, WINDOW.days)), known_days=100)
    draws = draws_of([SPRING] * 3, [2001, 2002, 2003])
    (one,) = frost(known, draws, as_of=at(100), limit_c=limit_c, colder_c={"b1": colder, "b2": 99.0})
    (other,) = frost(known, draws, as_of=at(100), limit_c=limit_c + colder)
    assert (one.chance, one.chance_in_bloom, one.frost_nights) == (
        other.chance,
        other.chance_in_bloom,
        other.frost_nights,
    )
    assert one.colder_c == colder


def test_a_hollow_hears_of_frost_in_the_outlook_that_the_station_does_not() -> None:
    cold = replace(traces(nights({100: 1.5})), outlook_through=at(102), known_days=99)
    draws = draws_of([SPRING], [2001])
    assert frost_in_outlook(cold, draws, as_of=at(99)) == ()
    assert frost_in_outlook(cold, draws, as_of=at(99), colder_c={"b1": 2.0}) == (at(100),)
    assert frost_in_outlook(cold, draws, as_of=at(99), colder_c={"b1": 1.0}) == ()
