"""How likely each trace makes what was seen on days whose weather is not known yet."""

from __future__ import annotations

import numpy as np
from scipy.special import gammaincinv, logsumexp

from models.bloom.draws import seasons_by_weight, stream
from models.bloom.in_season import SeasonKnowledge
from models.bloom.likelihood import draw_in_interval, log_interval_probability
from models.bloom.mixed_model import TAIL_DEGREES, Gaussian, Units
from models.bloom.observations import NARROWEST_INTERVAL
from models.units import FloatArray

POINTS = 256


def log_likelihood(
    knowledge: SeasonKnowledge, thresholds: Gaussian, within: FloatArray, units: Units
) -> float:
    """Log probability of a season's observations under one trace, up to a number that all traces share.

    Parameters
    ----------
    knowledge : SeasonKnowledge
        Learned from these units.
    thresholds : Gaussian
        Of the fit. [°C·day]
    within : ndarray, shape (stage, stage)
        Covariance of the blocks' own deviations. [(°C·day)²]
    units : Units
        What was seen, as heat along the trace. [°C·day]

    Notes
    -----
    The probability of the observations is likelihood times prior over posterior, at any value of the effects [1]_;
    it is taken at the posterior's mean, where the normal approximation is best. The season's t tails are integrated
    over the same weights as are drawn.

    References
    ----------
    .. [1] Chib (1995), Marginal likelihood from the Gibbs output, J. Am. Stat. Assoc. 90:1313-1321 (memory).
    """
    effects, stages = knowledge.effects.mean.shape
    size, own = effects * stages, (effects - 1) * stages
    mean, season = knowledge.effects.mean.reshape(size), knowledge.effects.mean[-1]
    covariance = knowledge.effects.covariance.reshape(size, size)
    moved, away = mean[:own] - thresholds.mean.reshape(own), season - knowledge.drift_mean
    used = np.linalg.inv(knowledge.drift_covariance + knowledge.shock / knowledge.season_weight)
    precision = np.asarray(np.linalg.inv(covariance[own:, own:]), dtype=np.float64)
    _, _, log_chance = seasons_by_weight(knowledge, precision)
    of_used = 0.5 * (np.linalg.slogdet(used)[1] - np.linalg.slogdet(precision)[1])
    of_used += 0.5 * (season @ precision @ season - knowledge.drift_mean @ used @ knowledge.drift_mean)
    centre = knowledge.effects.mean[units.cultivar_effect] + season
    return float(
        _log_within(units, centre, within).sum()
        - 0.5 * moved @ np.linalg.solve(thresholds.covariance.reshape(own, own), moved)
        + 0.5 * (np.linalg.slogdet(used)[1] - away @ used @ away)
        + 0.5 * np.linalg.slogdet(covariance)[1]
        + logsumexp(log_chance)
        - np.log(log_chance.size)
        - of_used
    )


def _log_within(units: Units, centre: FloatArray, within: FloatArray) -> FloatArray:
    """Log probability of each unit's bounds around its centre; shape (unit,).

    By drawing stage after stage within the bounds, each from what those before it leave [1]_.

    References
    ----------
    .. [1] Geweke (1991), Efficient simulation from the multivariate normal and Student-t distributions subject to
       linear constraints, Computing Science and Statistics 23:571-578 (memory).
    """
    stages = within.shape[0]
    # a stage lies after the one before it, so bounds pass along the season
    lower = np.maximum.accumulate(np.where(np.isnan(units.lower), -np.inf, units.lower), axis=1)
    upper = np.where(np.isnan(units.upper), np.inf, units.upper)
    upper = np.maximum(np.minimum.accumulate(upper[:, ::-1], axis=1)[:, ::-1], lower + NARROWEST_INTERVAL)
    random = stream("within")
    even = (np.arange(POINTS) + 0.5) / POINTS
    chi_square = 2 * gammaincinv(TAIL_DEGREES / 2, even)
    scale = 1 / np.sqrt(random.permutation(chi_square) / TAIL_DEGREES)
    factor = np.linalg.cholesky(within)
    drawn = np.zeros((len(centre), POINTS, stages))
    log_weight = np.zeros((len(centre), POINTS))
    for stage in range(stages):
        mean = centre[:, [stage]] + scale * (drawn @ factor[stage])
        sd = scale * factor[stage, stage]
        floor, roof = lower[:, [stage]], upper[:, [stage]]
        log_weight += log_interval_probability(floor, roof, mean=mean, sd=sd)
        found = draw_in_interval(floor, roof, mean=mean, sd=sd, uniform=random.permutation(even))
        drawn[:, :, stage] = (found - mean) / sd
    return np.asarray(logsumexp(log_weight, axis=1) - np.log(POINTS), dtype=np.float64)
