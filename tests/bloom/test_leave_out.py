"""What a fit says of a season that is left out, against the same model solved densely without that season."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.bloom.estimation import Estimate, estimate
from models.bloom.leave_out import left_out_prediction, log_probability
from models.bloom.observations import HeatIntervals
from models.bloom.season_effect import SeasonEvidence
from models.units import FloatArray
from tests.bloom.simulated import draw_truth, simulated_intervals

CULTIVARS, SEASONS, STAGES = 4, 7, 2


@pytest.fixture(scope="module")
def intervals() -> HeatIntervals:
    """Some blocks missing, so that seasons and cultivars differ in what they say."""
    random = np.random.default_rng(11)
    truth = draw_truth(random, cultivars=CULTIVARS, stages=STAGES, tail_degrees=4.0, drift_share=0.3)
    return simulated_intervals(random, truth, seasons=SEASONS, days_between_visits=4, share_missing=0.3)


@pytest.fixture(scope="module")
def found(intervals: HeatIntervals) -> Estimate:
    return estimate(intervals)


def without_season(intervals: HeatIntervals, found: Estimate, left_out: int) -> tuple[FloatArray, FloatArray]:
    """Mean (cultivar, stage) and covariance of the thresholds from all other seasons: one dense normal system.

    Unknowns are the cultivars' thresholds and the mean they scatter around, then the other seasons' effects.
    """
    spread, others = found.spread, [season for season in range(SEASONS) if season != left_out]
    size = CULTIVARS + 1 + len(others)
    precision = np.zeros((size, STAGES, size, STAGES))
    pull = np.zeros((size, STAGES))
    about = np.linalg.inv(spread.between_cultivars)
    for cultivar in range(CULTIVARS):
        for one in (cultivar, CULTIVARS):
            precision[one, :, one, :] += about
        precision[cultivar, :, CULTIVARS, :] -= about
        precision[CULTIVARS, :, cultivar, :] -= about
    for place, season in enumerate(others, CULTIVARS + 1):
        share = spread.drift_share + (1 - spread.drift_share) / found.season_weight[season]
        precision[place, :, place, :] += np.linalg.inv(share * spread.between_seasons)
    for unit, season in enumerate(intervals.season_of):
        if season == left_out:
            continue
        both = (intervals.cultivar_of[unit], CULTIVARS + 1 + others.index(season))
        for one in both:
            pull[one] += found.said.pull[unit]
            for other in both:
                precision[one, :, other, :] += found.said.precision[unit]
    covariance = np.linalg.inv(precision.reshape(size * STAGES, size * STAGES))
    mean = (covariance @ pull.reshape(-1)).reshape(size, STAGES)
    return mean[:CULTIVARS], np.asarray(covariance, dtype=np.float64).reshape(size, STAGES, size, STAGES)


def test_a_season_is_predicted_as_if_it_had_not_been_seen(intervals: HeatIntervals, found: Estimate) -> None:
    centre, scale = left_out_prediction(intervals, found)
    assert len(set(intervals.season_of.tolist())) == SEASONS
    for unit, (season, cultivar) in enumerate(zip(intervals.season_of, intervals.cultivar_of, strict=True)):
        mean, covariance = without_season(intervals, found, int(season))
        variance = np.diag(covariance[cultivar, :, cultivar, :])
        variance = variance + np.diag(found.spread.between_seasons) + np.diag(found.spread.within)
        assert_allclose(centre[unit], mean[cultivar], rtol=1e-5)
        assert_allclose(scale[unit], np.sqrt(variance), rtol=1e-5)


def test_a_season_before_tells_what_drift_to_expect(intervals: HeatIntervals, found: Estimate) -> None:
    # In 1992 the effect 30 was seen at both stages, nearly exactly: with precision to spare, a season's drift is
    # regressed on it with rho exp(-years / 3) / (rho + (1 - rho) / w), whatever the stages' covariance.
    spread, weight, effect = found.spread, 0.5, 30.0
    precision = 1e6 * np.eye(STAGES)
    evidence = (SeasonEvidence("here", 1992, precision, precision @ np.full(STAGES, effect), weight),)
    plain_centre, plain_scale = left_out_prediction(intervals, found)
    centre, scale = left_out_prediction(intervals, found, evidence)
    for unit, place in enumerate(intervals.season_of):
        years = intervals.seasons[place][1] - 1992
        fade = spread.drift_share * np.exp(-years / 3) if years > 0 else 0.0
        share = fade / (spread.drift_share + (1 - spread.drift_share) / weight)
        assert_allclose(centre[unit] - plain_centre[unit], share * effect, rtol=1e-3, atol=1e-9)
        less = share * fade * np.diag(spread.between_seasons)
        assert_allclose(plain_scale[unit] ** 2 - scale[unit] ** 2, less, rtol=1e-3, atol=1e-6)


def test_probability_of_an_interval_under_t_tails(intervals: HeatIntervals) -> None:
    def below(t: float) -> float:
        """Student's t with 4 degrees of freedom, in closed form."""
        part = t / np.sqrt(1 + t**2 / 4)
        return float(0.5 + 3 / 8 * part * (1 - part**2 / 12))

    ends = np.array([[-0.5, 1.0], [-np.inf, -2.0], [3.0, 4.0]])
    three = intervals.select(np.arange(len(intervals.units)) < 3)
    centre, scale = np.array([[600.0], [650.0], [700.0]]), np.array([[20.0], [30.0], [40.0]])
    lower, upper = (centre + ends[:, [side]] * scale for side in (0, 1))
    one_stage = replace(three, stages=("bloom_start",), lower=lower, upper=upper)
    logs = log_probability(one_stage, centre, scale)[:, 0]
    expected = [below(1.0) - below(-0.5), below(-2.0), below(4.0) - below(3.0)]
    assert_allclose(np.exp(logs), expected, rtol=1e-9)
    unseen = replace(one_stage, lower=np.full_like(lower, np.nan), upper=np.full_like(upper, np.nan))
    assert np.isnan(log_probability(unseen, centre, scale)).all()
