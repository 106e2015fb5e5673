"""Draws of cultivars and season together, against the mixture of normals from which they come."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose
from scipy.stats import chi2

from models.bloom.draws import TAIL_WEIGHTS, draw_heat
from models.bloom.in_season import SeasonKnowledge
from models.bloom.mixed_model import TAIL_DEGREES, Gaussian, Spread
from models.units import FloatArray

STAGES, CULTIVARS = 2, 2
DRAWS = 60_000
SPREAD = Spread(
    np.diag([900.0, 900.0]),
    np.array([[1600.0, 900.0], [900.0, 1600.0]]),
    np.diag([1e-4, 1e-4]),  # so that heat is cultivar + season
    0.3,
)


def knowledge() -> SeasonKnowledge:
    """What a fit and one look at the first cultivar might say, under a season weight of 0.8."""
    season_prior = np.array([[500.0, 100.0], [100.0, 500.0]])
    drift_mean = np.array([12.0, -8.0])
    shock = 0.7 * SPREAD.between_seasons
    precision = np.zeros((CULTIVARS + 1, STAGES, CULTIVARS + 1, STAGES))
    precision[0, :, 0, :] = np.linalg.inv([[90.0, 40.0], [40.0, 90.0]])
    precision[1, :, 1, :] = np.linalg.inv([[200.0, 90.0], [90.0, 300.0]])
    precision[0, :, 1, :] = precision[1, :, 0, :] = -0.001 * np.eye(STAGES)
    precision[2, :, 2, :] = np.linalg.inv(season_prior + shock / 0.8)
    pull = np.einsum("cjdk,dk->cj", precision, np.array([[400.0, 4000.0], [450.0, 4060.0], drift_mean]))
    seen = np.array([0.02, 0.0])
    for one in (0, 2):
        pull[one] += seen * np.array([480.0, 0.0])
        for other in (0, 2):
            precision[one, :, other, :] += np.diag(seen)
    covariance: FloatArray = np.asarray(np.linalg.inv(precision.reshape(6, 6)), dtype=np.float64)
    mean = (covariance @ pull.reshape(6)).reshape(3, 2)
    effects = Gaussian(mean, covariance.reshape(precision.shape))
    return SeasonKnowledge(
        effects=effects,
        weight=np.ones(1),
        season_weight=0.8,
        drift_mean=drift_mean,
        drift_covariance=season_prior,
        shock=shock,
        left=np.ones(STAGES),
        unusual=np.zeros(STAGES),
        converged=True,
    )


def mixture(known: SeasonKnowledge) -> tuple[FloatArray, FloatArray]:
    """Mean and covariance of all effects, from one large matrix for each tail weight of the season."""
    season, shock = slice(-STAGES, None), 0.7 * SPREAD.between_seasons
    used = np.linalg.inv(known.drift_covariance + shock / known.season_weight)
    precision = np.linalg.inv(known.effects.covariance.reshape(6, 6))
    pull = precision @ known.effects.mean.reshape(6)
    means, moments, logs = [], [], []
    for share in (np.arange(TAIL_WEIGHTS) + 0.5) / TAIL_WEIGHTS:
        prior = np.linalg.inv(known.drift_covariance + shock / (chi2.ppf(share, TAIL_DEGREES) / TAIL_DEGREES))
        told, told_pull = precision.copy(), pull.copy()
        told[season, season] += prior - used
        told_pull[season] += (prior - used) @ known.drift_mean
        covariance = np.linalg.inv(told)
        means.append(covariance @ told_pull)
        moments.append(covariance + np.outer(means[-1], means[-1]))
        quadratic = told_pull @ means[-1] - known.drift_mean @ prior @ known.drift_mean
        logs.append(0.5 * (np.linalg.slogdet(prior)[1] - np.linalg.slogdet(told)[1] + quadratic))
    chance = np.exp(np.array(logs) - max(logs))
    chance /= chance.sum()
    mean = chance @ np.array(means)
    return mean, np.einsum("w,wij->ij", chance, np.array(moments)) - np.outer(mean, mean)


def test_cultivars_and_season_are_drawn_together() -> None:
    known = knowledge()
    # stages so far apart that their order binds no draw
    unbounded = np.full((1, CULTIVARS, STAGES), np.inf)
    heat = draw_heat(
        [known],
        within=SPREAD.within,
        cultivar_effect=np.array([0, 1]),
        lower=-unbounded,
        upper=unbounded,
        weather_of=np.zeros(DRAWS, dtype=np.int64),
        shared=np.random.default_rng(5),
        own=[np.random.default_rng(seed) for seed in (6, 7)],
    ).reshape(DRAWS, -1)
    to_blocks = np.kron(np.array([[1.0, 0.0, 1.0], [0.0, 1.0, 1.0]]), np.eye(STAGES))
    mean, covariance = mixture(known)
    expected = to_blocks @ covariance @ to_blocks.T
    sd = np.sqrt(np.diag(expected))
    assert np.all(np.abs(heat.mean(axis=0) - to_blocks @ mean) < 4 * sd / np.sqrt(DRAWS))
    assert_allclose(np.cov(heat.T) / np.outer(sd, sd), expected / np.outer(sd, sd), rtol=0, atol=0.03)
