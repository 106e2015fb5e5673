"""Joint draws of the heat at every block's stages: thresholds, season and blocks' own deviations, in stage order."""

from __future__ import annotations

import numpy as np
from scipy.stats import chi2

from models.bloom.in_season import SeasonKnowledge
from models.bloom.likelihood import draw_in_interval
from models.bloom.mixed_model import TAIL_DEGREES, Spread
from models.bloom.observations import IntArray
from models.units import FloatArray

SWEEPS = 8
# Points of its distribution between which a season's tail weight is drawn.
TAIL_WEIGHTS = 32


def draw_heat(
    knowledge: SeasonKnowledge,
    spread: Spread,
    *,
    cultivar_effect: IntArray,
    lower: FloatArray,
    upper: FloatArray,
    draws: int,
    random: np.random.Generator,
) -> FloatArray:
    """Draw the heat at which each block reaches each stage.

    A block's draw that holds its bounds and its stage order stands; the others are drawn again, held within them.

    Parameters
    ----------
    knowledge : SeasonKnowledge
    spread : Spread
    cultivar_effect : ndarray of int, shape (block,)
        Which of the effects is the block's cultivar.
    lower, upper : ndarray, shape (block, stage)
        What was seen this season; -inf and inf where nothing was. [°C·day]
    draws : int
    random : Generator

    Returns
    -------
    ndarray, shape (draw, block, stage)
        Never falling along the stages, and within the bounds. [°C·day]
    """
    blocks, stages = lower.shape
    centre = _draw_effects(knowledge, spread, draws, random)
    centre = centre[:, cultivar_effect, :] + centre[:, -1:, :]
    scale = 1 / np.sqrt(random.chisquare(TAIL_DEGREES, (draws, blocks)) / TAIL_DEGREES)
    own = random.standard_normal((draws, blocks, stages)) @ np.linalg.cholesky(spread.within).T
    heat = centre + own * scale[:, :, None]
    # a stage lies after the one before it, so bounds pass along the season
    lower = np.maximum.accumulate(lower, axis=1)
    upper = np.minimum.accumulate(upper[:, ::-1], axis=1)[:, ::-1]
    fits = np.all((heat >= lower) & (heat <= upper), axis=2) & np.all(np.diff(heat, axis=2) >= 0, axis=2)
    again = ~fits
    block_of = np.nonzero(again)[1]
    heat[again] = _held_within(
        heat[again],
        centre[again],
        scale[again],
        spread.within,
        lower=lower[block_of],
        upper=upper[block_of],
        random=random,
    )
    return heat


def _held_within(
    heat: FloatArray,
    centre: FloatArray,
    scale: FloatArray,
    within: FloatArray,
    *,
    lower: FloatArray,
    upper: FloatArray,
    random: np.random.Generator,
) -> FloatArray:
    """Heat within the bounds and in stage order, by Gibbs sampling; arrays are (row, stage), ``scale`` (row,)."""
    stages = within.shape[0]
    precision = np.linalg.inv(within)
    heat = np.maximum.accumulate(np.clip(heat, lower, np.maximum(upper, lower)), axis=1)
    for _ in range(SWEEPS):
        own = heat - centre
        for stage in range(stages):
            mean = heat[:, stage] - own @ precision[stage] / precision[stage, stage]
            floor, roof = lower[:, stage], upper[:, stage]
            if stage > 0:
                floor = np.maximum(floor, heat[:, stage - 1])
            if stage < stages - 1:
                roof = np.minimum(roof, heat[:, stage + 1])
            heat[:, stage] = draw_in_interval(
                floor,
                np.maximum(roof, floor),
                mean=mean,
                sd=scale / np.sqrt(precision[stage, stage]),
                uniform=random.random(scale.size),
            )
            own[:, stage] = heat[:, stage] - centre[:, stage]
        distance = np.einsum("rj,jk,rk->r", own, precision, own)
        scale = np.sqrt((TAIL_DEGREES + distance) / random.chisquare(TAIL_DEGREES + stages, scale.size))
    return heat


def _draw_effects(
    knowledge: SeasonKnowledge, spread: Spread, draws: int, random: np.random.Generator
) -> FloatArray:
    """Cultivars and season; shape (draw, effect, stage).

    The season's tail weight is drawn too, as far as the observations leave it open: fixed at its best value it
    would make a season of which little was seen look like a normal one.
    """
    mean, covariance = knowledge.effects.mean, knowledge.effects.covariance
    cultivars, stages = mean.shape[0] - 1, mean.shape[1]
    season_precision = np.linalg.inv(covariance[-1, :, -1, :])
    shock = (1 - spread.drift_share) * spread.between_seasons
    shares = (np.arange(TAIL_WEIGHTS) + 0.5) / TAIL_WEIGHTS
    weights = chi2.ppf(shares, TAIL_DEGREES) / TAIL_DEGREES
    priors = np.linalg.inv(knowledge.drift_covariance + shock / weights[:, None, None])
    changes = priors - np.linalg.inv(knowledge.drift_covariance + shock / knowledge.season_weight)
    precisions = season_precision + changes
    pulls = season_precision @ mean[-1] + changes @ knowledge.drift_mean
    covariances = np.linalg.inv(precisions)
    means = np.einsum("wij,wj->wi", covariances, pulls)
    log_chance = 0.5 * (
        np.linalg.slogdet(priors)[1]
        - np.linalg.slogdet(precisions)[1]
        + np.einsum("wi,wi->w", pulls, means)
        - np.einsum("i,wij,j->w", knowledge.drift_mean, priors, knowledge.drift_mean)
    )
    chance = np.exp(log_chance - log_chance.max())
    which = random.choice(TAIL_WEIGHTS, size=draws, p=chance / chance.sum())
    factors = np.linalg.cholesky(0.5 * (covariances + covariances.transpose(0, 2, 1)))
    normal = random.standard_normal((draws, stages))
    season = means[which] + np.einsum("dij,dj->di", factors[which], normal)
    # what a season says of the cultivars is the same whatever its weight
    size = cultivars * stages
    gain = covariance[:-1, :, -1, :].reshape(size, stages) @ season_precision
    left = covariance[:-1, :, :-1, :].reshape(size, size) - gain @ covariance[-1, :, :-1, :].reshape(
        stages, size
    )
    normal = random.standard_normal((draws, size)) @ np.linalg.cholesky(0.5 * (left + left.T)).T
    theta = mean[:-1].reshape(size) + (season - mean[-1]) @ gain.T + normal
    return np.concatenate([theta.reshape(draws, cultivars, stages), season[:, None, :]], axis=1)
