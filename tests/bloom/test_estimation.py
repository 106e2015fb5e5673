"""The estimation ends at the same spreads wherever it starts, so that a start may save time and nothing else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.bloom.estimation import Estimate, estimate
from models.bloom.observations import HeatIntervals
from models.bloom.search import choose, prepare
from models.bloom.site import Site
from tests.bloom.simulated import draw_truth, simulated_intervals
from tests.hindcast.past import LATITUDE, STAGES, invented_log, invented_weather

SETTLED = 1e-7


@pytest.fixture(scope="module")
def intervals() -> HeatIntervals:
    random = np.random.default_rng(9)
    truth = draw_truth(random, cultivars=4, stages=2, tail_degrees=4.0, drift_share=0.4)
    return simulated_intervals(random, truth, seasons=14, days_between_visits=3, share_missing=0.2)


def assert_alike(one: Estimate, other: Estimate) -> None:
    assert_allclose(one.spread.between_cultivars, other.spread.between_cultivars, rtol=1e-3)
    assert_allclose(one.spread.between_seasons, other.spread.between_seasons, rtol=1e-3)
    assert_allclose(one.spread.within, other.spread.within, rtol=1e-3)
    assert one.spread.drift_share == pytest.approx(other.spread.drift_share, abs=1e-4)
    assert_allclose(one.effects.mean, other.effects.mean, rtol=1e-5)
    assert_allclose(one.weight, other.weight, rtol=1e-3)


def test_from_its_own_end_it_moves_no_more(intervals: HeatIntervals) -> None:
    settled = estimate(intervals, tolerance=SETTLED)
    again = estimate(intervals, start=settled, tolerance=SETTLED)
    assert again.converged
    assert_alike(settled, again)


def test_from_more_seasons_it_ends_where_it_would_have_without_them(intervals: HeatIntervals) -> None:
    whole = estimate(intervals, tolerance=SETTLED)
    kept = np.isin(intervals.season_of, (0, 1, 5, 6, 7, 8, 9, 12))
    fewer = intervals.select(kept).relabelled()
    start = whole.select(kept, np.unique(intervals.season_of[kept]))
    assert start.pseudo.pull.shape == fewer.lower.shape
    assert start.season_weight.size == len(fewer.seasons) == 8
    cold = estimate(fewer, tolerance=SETTLED)
    assert_alike(estimate(fewer, start=start, tolerance=SETTLED), cold)
    assert not np.allclose(whole.spread.within, cold.spread.within, rtol=0.02)


def test_spreads_follow_the_unit_of_heat(intervals: HeatIntervals) -> None:
    """Heat counted 3 times as much at the first stage: spreads 3 times as large, and nothing else new."""
    factor = np.array([3.0, 1.0])
    other = replace(
        intervals,
        lower=intervals.lower * factor,
        upper=intervals.upper * factor,
        heat_a_day=intervals.heat_a_day * factor,
    )
    one, scaled = estimate(intervals, tolerance=SETTLED), estimate(other, tolerance=SETTLED)
    assert_alike(replace(scaled, effects=one.effects), replace(one, spread=one.spread.scaled(factor)))
    assert_allclose(scaled.effects.mean, one.effects.mean * factor, rtol=1e-5, atol=0.01)


def test_the_choice_of_a_rule_does_not_depend_on_the_starts() -> None:
    weather = invented_weather(1998, 2009)
    log = invented_log(weather, noise=40.0)
    site = Site("hollow", LATITUDE, weather, log)
    started = prepare([site], stages=STAGES)
    cold = [replace(one, start=None) for one in started]
    for season in ([], [2003]):
        quick, slow = choose(started, exclude_seasons=season), choose(cold, exclude_seasons=season)
        assert quick.rule == slow.rule
        scores = {one.rule: one.score for one in slow.candidates}
        assert len(scores) > 20
        for one in quick.candidates:
            # a tenth of the difference that counts as none; of the hopeless ones, 1 %
            behind = max(scores.values()) - scores[one.rule]
            assert one.behind == pytest.approx(behind, abs=2e-3, rel=1e-2)
