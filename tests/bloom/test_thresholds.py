"""Thresholds from simulated visits with known truth, and what is set aside on the way."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.bloom import estimation
from models.bloom.estimation import estimate
from models.bloom.leave_out import left_out_prediction
from models.bloom.observations import HeatIntervals
from models.bloom.set_aside import FarFromOthers
from models.bloom.site import Site
from models.bloom.thresholds import fit_intervals, fit_thresholds
from models.errors import BadInput, NotEnoughData
from models.heat.accumulate import accumulate_seasons, heat_on
from models.records import HeatRule, StageInterval
from models.units import FloatArray
from tests.bloom.noted import logged
from tests.bloom.simulated import (
    HEAT_A_DAY,
    NORMAL,
    Truth,
    block_heat,
    day,
    draw_truth,
    season_effects,
    simulated_intervals,
    weather,
)

RULE = HeatRule()
SIMULATIONS = 200
Z_80 = 1.2816


def weekly(
    seed: int, *, tail_degrees: float = NORMAL, drift_share: float = 0.0
) -> tuple[Truth, HeatIntervals]:
    """8 cultivars, 14 seasons, a visit a week, one record in five missing."""
    random = np.random.default_rng([20260301, seed])
    truth = draw_truth(
        random,
        cultivars=8,
        between_cultivars=50.0,
        between_seasons=30.0,
        within=20.0,
        tail_degrees=tail_degrees,
        drift_share=drift_share,
    )
    return truth, simulated_intervals(
        random, truth, seasons=14, days_between_visits=7, share_missing=0.2, one_place=drift_share > 0
    )


@pytest.mark.slow
@pytest.mark.parametrize(("tail_degrees", "drift_share"), [(NORMAL, 0.0), (4.0, 0.3)])
def test_weekly_visits_give_thresholds_without_the_half_gap_bias(
    tail_degrees: float, drift_share: float
) -> None:
    # Taking the first visit that saw it is late by half the gap between visits, 3.5 days for weekly ones.
    errors, naive_errors, held = [], [], []
    for seed in range(SIMULATIONS):
        truth, intervals = weekly(seed, tail_degrees=tail_degrees, drift_share=drift_share)
        fit = fit_intervals(intervals, rule=RULE)
        error = fit.thresholds.mean - truth.theta
        naive = [
            intervals.upper[intervals.cultivar_of == cultivar].mean() - truth.theta[cultivar, 0]
            for cultivar in range(8)
        ]
        errors.append(error.mean() / HEAT_A_DAY)
        naive_errors.append(np.mean(naive) / HEAT_A_DAY)
        held.append(np.mean(np.abs(error) <= Z_80 * fit.standard_error))
    three_errors = 3 * np.std(errors) / np.sqrt(SIMULATIONS)
    assert abs(np.mean(errors)) < three_errors < 0.4
    assert np.mean(naive_errors) == pytest.approx(3.5, abs=3 * np.std(naive_errors) / np.sqrt(SIMULATIONS))
    assert 0.75 <= np.mean(held) <= 0.85


def test_weekly_visits_through_dates_and_temperatures() -> None:
    random = np.random.default_rng(5)
    truth = draw_truth(random, cultivars=5, between_seasons=20.0, within=12.0, first=420.0)
    temperatures = weather("2000-01-01", "2024-12-31", seed=5)
    heats = accumulate_seasons(temperatures, RULE, range(2000, 2025), 33.0)
    looks: list[StageInterval] = []
    naive: list[list[float]] = [[] for _ in range(5)]
    effects = season_effects(random, truth, 25)
    for season, effect in zip(range(2000, 2025), effects, strict=True):
        heat = heats[season]
        for cultivar, reached in enumerate(block_heat(random, truth, effect)[:, 0]):
            opened = int(np.searchsorted(heat.accumulated, reached))
            seen = heat.window.date_at(opened + (season - opened) % 7)  # the season's visits are 7 days apart
            before = seen - dt.timedelta(days=7)
            looks.append(StageInterval(season, f"cultivar-{cultivar}", None, "full_bloom", before, seen))
            naive[cultivar].append(heat_on(heat, seen))
    site = Site("here", 33.0, temperatures, logged(looks))
    fit = fit_thresholds([site], stages=["full_bloom"], rule=RULE)
    # what 25 seasons happen to share on average cannot be told from a threshold
    reached_on_average = truth.theta[:, 0] + effects.mean()
    off = (fit.thresholds.mean[:, 0] - reached_on_average) / fit.heat_a_day
    naive_off = (np.array([np.mean(heats) for heats in naive]) - reached_on_average) / fit.heat_a_day
    assert fit.heat_a_day[0] == pytest.approx(11.5, abs=1.5)
    assert abs(np.mean(off)) < 0.4
    assert np.mean(naive_off) == pytest.approx(3.5, abs=0.4)
    assert fit.seasons == tuple(range(2000, 2025))
    assert not fit.set_aside


def with_slip(intervals: HeatIntervals, row: int, heat: float) -> HeatIntervals:
    shift = np.zeros_like(intervals.lower)
    shift[row] = heat
    return replace(intervals, lower=intervals.lower + shift, upper=intervals.upper + shift)


@pytest.mark.parametrize("days_off", [30, -30])
def test_a_date_a_month_off_is_set_aside_and_moves_nothing(days_off: int) -> None:
    random = np.random.default_rng(8)
    truth = draw_truth(random, cultivars=6)
    honest = simulated_intervals(random, truth, seasons=12, days_between_visits=3)
    row = 29
    slipped = with_slip(honest, row, days_off * HEAT_A_DAY)
    before, after = fit_intervals(honest, rule=RULE), fit_intervals(slipped, rule=RULE)
    moved = (after.thresholds.mean - before.thresholds.mean) / before.standard_error
    assert np.max(np.abs(moved)) < 0.2
    assert not before.set_aside
    (slip,) = after.set_aside
    assert (slip.season, slip.block, slip.stage) == (
        honest.seasons[honest.season_of[row]][1],
        honest.units[row].name,
        "bloom_start",
    )
    assert isinstance(slip.why, FarFromOthers)
    assert abs(slip.why.days_later - days_off) < 9
    for spread in ("between_cultivars", "between_seasons", "within"):
        widened = getattr(after.spread, spread)[0, 0] / getattr(before.spread, spread)[0, 0]
        assert widened == pytest.approx(1.0, abs=0.1)


@pytest.mark.parametrize("days_off", [30, -30])
def test_weekly_looks_hide_no_slip_of_a_month(days_off: int) -> None:
    # A date within a week is off its middle with variance 7 ** 2 / 12: its scale of 2.0 days, with 2.5 of the block's
    # own, leaves a month at 9 scales. At 7 days, as if the whole week were the scale, it would be at 4.
    random = np.random.default_rng(8)
    truth = draw_truth(random, cultivars=6, between_seasons=30.0)
    honest = simulated_intervals(random, truth, seasons=12, days_between_visits=7)
    (slip,) = fit_intervals(with_slip(honest, 29, days_off * HEAT_A_DAY), rule=RULE).set_aside
    assert (slip.season, slip.block) == (honest.seasons[honest.season_of[29]][1], honest.units[29].name)
    assert not fit_intervals(honest, rule=RULE).set_aside


def test_a_cultivar_with_little_history_leans_on_the_others() -> None:
    random = np.random.default_rng(3)
    truth = draw_truth(random, cultivars=8)
    every = simulated_intervals(random, truth, seasons=20, days_between_visits=3)
    own = every.cultivar_of == 0
    kept = ~own | (np.cumsum(own) <= 2)
    fit = fit_intervals(every.select(kept), rule=RULE)
    assert fit.seasons_seen[:, 0].tolist() == [2] + [20] * 7
    assert fit.pooled_share[0, 0] > 2 * fit.pooled_share[1:, 0].max()
    assert fit.standard_error[0, 0] > 1.3 * fit.standard_error[1:, 0].max()
    middle = fit.thresholds.mean[1:, 0].mean()
    season_of_its_own = every.season_of[kept & own]
    others = [
        0.5 * (every.lower + every.upper)[(every.season_of == season) & ~own, 0].mean()
        for season in season_of_its_own
    ]
    alone = middle + np.mean(0.5 * (every.lower + every.upper)[kept & own, 0] - np.array(others))
    assert abs(fit.thresholds.mean[0, 0] - middle) < abs(alone - middle)


def test_looks_that_say_not_yet_push_a_threshold_up() -> None:
    random = np.random.default_rng(4)
    truth = draw_truth(random, cultivars=4)
    intervals = simulated_intervals(random, truth, seasons=10, days_between_visits=2)
    rows = intervals.cultivar_of == 3
    unseen = (
        np.where(rows[:, None], np.nan, intervals.lower),
        np.where(rows[:, None], np.nan, intervals.upper),
    )
    not_yet = replace(
        intervals,
        lower=np.where(rows[:, None], 900.0, intervals.lower),
        upper=np.where(rows[:, None], np.inf, intervals.upper),
    )
    late = fit_intervals(not_yet, rule=RULE)
    pooled = fit_intervals(replace(intervals, lower=unseen[0], upper=unseen[1]), rule=RULE)
    assert late.thresholds.mean[3, 0] > 900
    assert pooled.thresholds.mean[3, 0] == pytest.approx(pooled.thresholds.mean[:3, 0].mean(), abs=1.0)
    assert late.seasons_seen[3, 0] == 0


@pytest.mark.parametrize(("lower", "upper"), [(500.0, np.inf), (-np.inf, 500.0)])
def test_a_stage_that_no_two_looks_enclose_is_left_out(lower: float, upper: float) -> None:
    random = np.random.default_rng(6)
    truth = draw_truth(random, cultivars=3, stages=2)
    intervals = simulated_intervals(random, truth, seasons=6, days_between_visits=2)
    open_ended = replace(intervals, lower=intervals.lower.copy(), upper=intervals.upper.copy())
    open_ended.lower[:, 1], open_ended.upper[:, 1] = lower, upper
    fit = fit_intervals(open_ended, rule=RULE)
    assert fit.stages == ("bloom_start",)
    assert {(slip.season, slip.stage) for slip in fit.set_aside} == {
        (season, "full_bloom") for _, season in intervals.seasons
    }
    assert_allclose(fit.thresholds.mean, fit_intervals(_first_stage(intervals), rule=RULE).thresholds.mean)


def _first_stage(intervals: HeatIntervals) -> HeatIntervals:
    return replace(
        intervals,
        stages=intervals.stages[:1],
        lower=intervals.lower[:, :1],
        upper=intervals.upper[:, :1],
        heat_a_day=intervals.heat_a_day[:1],
    )


def test_a_fit_tells_whether_its_numbers_settled(monkeypatch: pytest.MonkeyPatch) -> None:
    random = np.random.default_rng(9)
    intervals = simulated_intervals(random, draw_truth(random, cultivars=3), seasons=6, days_between_visits=3)
    assert fit_intervals(intervals, rule=RULE).converged
    monkeypatch.setattr(estimation, "MOST_ITERATIONS", 3)
    assert not fit_intervals(intervals, rule=RULE).converged


def test_a_fit_does_not_depend_on_where_it_starts() -> None:
    random = np.random.default_rng(9)
    truth = draw_truth(random, cultivars=5, stages=2)
    intervals = simulated_intervals(random, truth, seasons=10, days_between_visits=3)
    cold = fit_intervals(intervals, rule=RULE)
    warm = fit_intervals(intervals, rule=RULE, start=cold.spread)
    apart: FloatArray = (warm.thresholds.mean - cold.thresholds.mean) / cold.standard_error
    assert np.max(np.abs(apart)) < 0.02


@pytest.mark.parametrize(("seasons", "seed"), [(9, 4), (12, 3), (30, 1)])
def test_calibration_makes_left_out_seasons_hold_their_share_as_far_as_it_is_trusted(
    seasons: int, seed: int
) -> None:
    random = np.random.default_rng(seed)
    truth = draw_truth(random, cultivars=6, stages=2)
    intervals = simulated_intervals(random, truth, seasons=seasons, days_between_visits=2)
    fit = fit_intervals(intervals, rule=RULE)
    assert not fit.set_aside
    centre, scale = left_out_prediction(intervals, estimate(intervals), fit.season_evidence)
    off = np.abs(0.5 * (intervals.lower + intervals.upper) - centre) / scale
    # Half of Student's t with 4 degrees of freedom lies within 0.741 scales, four fifths within 1.533 (tables). By
    # which factor all scales, in the geometric mean of both, would have to grow:
    wider = np.sqrt(np.quantile(off, 0.5, axis=0) / 0.741 * np.quantile(off, 0.8, axis=0) / 1.533)
    # The season variance alone is scaled, by the factor's square, and must bring what all of it lacks.
    season = np.diag(fit.spread.between_seasons)
    wanted = 1 + (wider**2 - 1) * np.mean(scale**2, axis=0) / season
    # As if 4 more seasons had been right.
    assert_allclose(np.log(fit.calibration), 0.5 * np.log(wanted) * seasons / (seasons + 4), atol=2e-3)
    assert np.max(np.abs(np.log(fit.calibration))) > 0.04
    assert_allclose(
        fit.calibrated.between_seasons[0, 1] / fit.spread.between_seasons[0, 1], np.prod(fit.calibration)
    )
    assert_allclose(fit.calibrated.within, fit.spread.within)


def test_below_eight_seasons_nothing_is_calibrated() -> None:
    random = np.random.default_rng(3)
    truth = draw_truth(random, cultivars=6)
    for seasons in (7, 8):
        intervals = simulated_intervals(random, truth, seasons=seasons, days_between_visits=2)
        assert (fit_intervals(intervals, rule=RULE).calibration == 1.0).all() == (seasons < 8)


def test_one_season_is_enough_for_a_fit_that_says_how_little_it_knows() -> None:
    looks = tuple(
        StageInterval(2020, name, None, "full_bloom", day(after), day(by))
        for name, after, by in [
            ("alder", "2020-05-12", "2020-05-13"),
            ("birch", "2020-05-13", "2020-05-14"),
            ("cedar", "2020-05-14", "2020-05-15"),
        ]
    )
    fit = fit_thresholds(
        [Site("here", 33.0, weather("2020-01-01", "2020-12-31"), logged(looks))],
        stages=["full_bloom"],
        rule=RULE,
    )
    assert fit.seasons == (2020,)
    assert np.all(np.diff(fit.thresholds.mean[:, 0]) > 0)
    # a season shifts all dates by 4 days or so, which one season cannot show
    assert np.all(fit.standard_error > 3.5 * fit.heat_a_day)


def test_nothing_to_fit() -> None:
    temperatures = weather("2020-01-01", "2020-12-31")
    elsewhere = StageInterval(2019, "a", None, "full_bloom", day("2019-05-12"), day("2019-05-13"))
    with pytest.raises(NotEnoughData, match="no observation is left"):
        fit_thresholds(
            [Site("here", 33.0, temperatures, logged([elsewhere]))], stages=["full_bloom"], rule=RULE
        )
    with pytest.raises(NotEnoughData, match="no observation is left"):
        fit_thresholds([Site("here", 33.0, temperatures)], stages=["full_bloom"], rule=RULE)
    with pytest.raises(BadInput, match="unknown stage"):
        fit_thresholds([Site("here", 33.0, temperatures)], stages=["first_leaf"], rule=RULE)
