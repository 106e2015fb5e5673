"""The factors on what is left unknown: by season, and by what was seen of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.stats import t as student_t

from models.bloom.calibration import Calibration, calibrate, with_own_factor, with_season_factor
from models.bloom.estimation import Estimate, estimate
from models.bloom.leave_out import left_out
from models.bloom.observations import HeatIntervals
from models.bloom.thresholds import fit_intervals
from models.records import HeatRule
from models.units import FloatArray
from tests.bloom.simulated import draw_truth, simulated_intervals

WITHIN = np.array([[4.0, 3.0, 1.0], [3.0, 9.0, 2.0], [1.0, 2.0, 16.0]])
SEASONS, CULTIVARS = 24, 8


def test_a_block_followed_from_stage_to_stage_is_foreseen_around_the_same_middle() -> None:
    factor = np.array([1.5, 1.0, 2.0])
    grown = with_own_factor(WITHIN, factor)
    for stage in range(3):
        before = slice(0, stage)

        def told(
            covariance: FloatArray, stage: int = stage, before: slice = before
        ) -> tuple[FloatArray, float]:
            """Weights of the earlier stages in the mean of this one, and the variance that they leave."""
            weights = np.asarray(
                np.linalg.solve(covariance[before, before], covariance[before, stage]), np.float64
            )
            return weights, float(covariance[stage, stage] - weights @ covariance[before, stage])

        (weights, left), (weights_grown, left_grown) = told(WITHIN), told(grown)
        assert_allclose(weights_grown, weights, rtol=1e-9)
        assert left_grown == pytest.approx(factor[stage] ** 2 * left)


def fitted(intervals: HeatIntervals) -> tuple[Estimate, Calibration]:
    found = estimate(intervals)
    fit = fit_intervals(intervals, rule=HeatRule())
    assert not fit.set_aside
    return found, calibrate(intervals, found, fit.season_evidence)


def sparse_odd_seasons(odd_by: float) -> HeatIntervals:
    """Every third season is off by so much, up or down, and was seen in one block only. [°C·day]"""
    random = np.random.default_rng(5)
    truth = draw_truth(random, cultivars=CULTIVARS, stages=2)
    intervals = simulated_intervals(random, truth, seasons=SEASONS, days_between_visits=1)
    odd = intervals.season_of % 3 == 0
    sign = np.where(intervals.season_of % 2 == 0, 1.0, -1.0)
    shift = np.where(odd, sign * odd_by, 0.0)[:, None]
    moved = replace(intervals, lower=intervals.lower + shift, upper=intervals.upper + shift)
    return moved.select(~odd | (intervals.cultivar_of == 0))


def share_held(intervals: HeatIntervals, found: Estimate, known: Calibration) -> FloatArray:
    """Share of left-out dates inside the 80 % interval, mean over seasons; shape (stage,)."""
    fit = fit_intervals(intervals, rule=HeatRule())
    others = left_out(intervals, found, fit.season_evidence)
    spread = with_season_factor(found.spread, known.between_seasons * known.season_left)
    grown = (known.between_seasons * known.season_left) ** 2
    variance = (
        np.einsum("ukk->uk", others.threshold_covariance)
        + grown * np.einsum("skk->sk", others.drift_covariance)[intervals.season_of]
        + (1 - spread.drift_share) * np.diag(spread.between_seasons)
        + np.diag(with_own_factor(spread.within, known.own_left))
    )
    middle = 0.5 * (intervals.lower + intervals.upper)
    off = np.abs(middle - others.threshold - others.drift[intervals.season_of]) / np.sqrt(variance)
    inside = off <= student_t.ppf(0.9, 4)
    seasons = np.unique(intervals.season_of)
    shares = [inside[intervals.season_of == season].mean(axis=0) for season in seasons]
    return np.asarray(np.mean(shares, axis=0), dtype=np.float64)


def test_seasons_count_alike_however_many_blocks_were_seen() -> None:
    intervals = sparse_odd_seasons(80.0)
    found, known = fitted(intervals)
    assert np.all(
        known.season_left > 1.1
    )  # dates of the usual seasons, twenty times as many, don't drown the odd
    before = share_held(intervals, found, replace(known, season_left=np.ones(2), own_left=np.ones(2)))
    after = share_held(intervals, found, known)
    assert np.all(before < 0.75)
    assert np.all(np.abs(after - 0.8) < np.abs(before - 0.8))
    assert np.all((after >= 0.74) & (after <= 0.86))


def test_where_the_model_holds_nothing_is_changed_by_much() -> None:
    random = np.random.default_rng(8)
    truth = draw_truth(random, cultivars=CULTIVARS, stages=2, tail_degrees=4.0)
    _, known = fitted(simulated_intervals(random, truth, seasons=40, days_between_visits=1))
    for factor in (known.season_left, known.own_left):
        assert np.all((factor > 0.85) & (factor < 1.18))


def test_blocks_less_alike_than_the_spread_says_widen_what_is_their_own() -> None:
    random = np.random.default_rng(9)
    truth = draw_truth(random, cultivars=CULTIVARS, stages=2)
    intervals = simulated_intervals(random, truth, seasons=SEASONS, days_between_visits=1)
    found, known = fitted(intervals)
    fit = fit_intervals(intervals, rule=HeatRule())
    doubtful = replace(found, spread=replace(found.spread, within=found.spread.within / 4))
    narrow = calibrate(intervals, doubtful, fit.season_evidence)
    # the half that is missing is found back for the most part; the trust in 24 seasons, and other learning, take some
    assert np.all(narrow.own_left > 1.25 * known.own_left)


def test_one_cultivar_alone_tells_nothing_of_what_is_its_own() -> None:
    random = np.random.default_rng(10)
    truth = draw_truth(random, cultivars=1, stages=2)
    _, known = fitted(simulated_intervals(random, truth, seasons=12, days_between_visits=1))
    assert np.all(known.own_left == 1.0)
    assert np.any(known.season_left != 1.0)
