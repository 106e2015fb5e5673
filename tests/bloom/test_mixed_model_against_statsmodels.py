"""On midpoints of narrow intervals the model is a linear mixed model: statsmodels must find the same thresholds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from numpy.testing import assert_allclose

from models.bloom import mixed_model
from models.bloom.observations import HeatIntervals
from models.bloom.thresholds import Fit, fit_intervals
from models.records import HeatRule
from models.units import FloatArray
from tests.bloom.simulated import HEAT_A_DAY, draw_truth, simulated_intervals

SEEDS = (1, 2, 3, 4)
BALANCED, UNBALANCED = 0.0, 0.35


@dataclass(frozen=True, eq=False)
class LinearMixedModel:
    """statsmodels' answer: thresholds and standard deviations. [°C·day]"""

    theta: FloatArray
    between_cultivars: float
    between_seasons: float
    within: float


def mixed_lm(intervals: HeatIntervals) -> LinearMixedModel:
    """MixedLM with crossed variance components, by restricted maximum likelihood.

    One group holds all rows, so that cultivars and seasons cross; a threshold is the intercept plus the
    cultivar's best linear unbiased prediction (statsmodels documentation, "Variance component analysis").
    """
    rows = pd.DataFrame(
        {
            "heat": 0.5 * (intervals.lower + intervals.upper)[:, 0],
            "cultivar": intervals.cultivar_of,
            "season": intervals.season_of,
            "all": 1,
        }
    )
    parts = {"cultivar": "0 + C(cultivar)", "season": "0 + C(season)"}
    found = smf.mixedlm("heat ~ 1", rows, groups="all", vc_formula=parts).fit(reml=True)
    effects = found.random_effects[1]
    cultivars = range(len(intervals.cultivars))
    theta = [found.params["Intercept"] + effects[f"cultivar[C(cultivar)[{place}]]"] for place in cultivars]
    between_cultivars, between_seasons = np.sqrt(found.vcomp)
    return LinearMixedModel(
        np.array(theta), float(between_cultivars), float(between_seasons), float(np.sqrt(found.scale))
    )


def normal_records(seed: int, share_missing: float) -> HeatIntervals:
    """12 cultivars in 25 seasons without tails or drift, seen to a tenth of a day's heat.

    The spreads are other than those that the model assumes before it sees data.
    """
    random = np.random.default_rng(seed)
    truth = draw_truth(random, cultivars=12, between_cultivars=50.0, between_seasons=35.0, within=20.0)
    return simulated_intervals(
        random, truth, seasons=25, days_between_visits=0.1, share_missing=share_missing, one_place=False
    )


def fit(intervals: HeatIntervals) -> Fit:
    return fit_intervals(intervals, rule=HeatRule())


@pytest.fixture
def _normal_tails(monkeypatch: pytest.MonkeyPatch) -> None:
    """The limit in which Student's t is the normal distribution."""
    monkeypatch.setattr(mixed_model, "TAIL_DEGREES", 1e9)


@pytest.mark.usefixtures("_normal_tails")
@pytest.mark.parametrize("share_missing", [BALANCED, UNBALANCED])
@pytest.mark.parametrize("seed", SEEDS)
def test_thresholds_agree_within_a_tenth_of_their_standard_errors(seed: int, share_missing: float) -> None:
    intervals = normal_records(seed, share_missing)
    ours, theirs = fit(intervals), mixed_lm(intervals)
    apart = (ours.thresholds.mean[:, 0] - theirs.theta) / ours.standard_error[:, 0]
    assert np.max(np.abs(apart)) < 0.1
    assert not ours.set_aside


@pytest.mark.usefixtures("_normal_tails")
@pytest.mark.parametrize("seed", SEEDS)
def test_spreads_agree(seed: int) -> None:
    # The spreads assumed beforehand, 6, 4 and 2.5 days, count as two more cultivars, seasons and blocks.
    intervals = normal_records(seed, UNBALANCED)
    ours, theirs = fit(intervals).spread, mixed_lm(intervals)

    def with_assumed(sd: float, count: int, assumed_days: float) -> float:
        return float(np.sqrt((count * sd**2 + 2 * (assumed_days * HEAT_A_DAY) ** 2) / (count + 2)))

    rows = len(intervals.units)
    between_cultivars = with_assumed(theirs.between_cultivars, 12, 6.0)
    assert np.sqrt(ours.between_cultivars[0, 0]) == pytest.approx(between_cultivars, rel=0.03)
    between_seasons = with_assumed(theirs.between_seasons, 25, 4.0)
    assert np.sqrt(ours.between_seasons[0, 0]) == pytest.approx(between_seasons, rel=0.03)
    assert np.sqrt(ours.within[0, 0]) == pytest.approx(with_assumed(theirs.within, rows, 2.5), rel=0.005)


@pytest.mark.parametrize("seed", SEEDS)
def test_heavy_tails_cost_little_where_there_are_none(seed: int) -> None:
    # With its t tails the model weighs honest rows unequally, so it differs from MixedLM by more than a tenth
    # of a standard error; it stays within one.
    intervals = normal_records(seed, BALANCED)
    ours, theirs = fit(intervals), mixed_lm(intervals)
    assert_allclose(ours.thresholds.mean[:, 0], theirs.theta, rtol=0, atol=float(ours.standard_error.min()))
