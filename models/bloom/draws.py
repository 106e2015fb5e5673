"""Joint draws of the heat at every block's stages: thresholds, season and blocks' own deviations, in stage order."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

import numpy as np
from scipy.special import gammaincinv

from models.bloom.in_season import SeasonKnowledge
from models.bloom.likelihood import draw_in_interval
from models.bloom.mixed_model import TAIL_DEGREES
from models.bloom.observations import IntArray
from models.units import FloatArray

SWEEPS = 8
# Points of its distribution between which a season's tail weight is drawn.
TAIL_WEIGHTS = 32


def stream(*names: str | int) -> np.random.Generator:
    """Random numbers that belong to a name, whatever else is drawn."""
    return np.random.default_rng(
        np.frombuffer(hashlib.sha256(repr(names).encode()).digest(), dtype=np.uint32)
    )


def draw_heat(
    knowledge: Sequence[SeasonKnowledge],
    *,
    within: FloatArray,
    cultivar_effect: IntArray,
    lower: FloatArray,
    upper: FloatArray,
    weather_of: IntArray,
    shared: np.random.Generator,
    own: Sequence[np.random.Generator],
    newcomers: Sequence[np.random.Generator] = (),
) -> FloatArray:
    """Draw the heat at which each block reaches each stage.

    A block's draw that holds its bounds and its stage order stands; the others are drawn again, held within them.

    Parameters
    ----------
    knowledge : sequence of SeasonKnowledge
        Under each weather that the season's looks may have met.
    within : ndarray, shape (stage, stage)
        Covariance of the blocks' own deviations. [(°C·day)²]
    cultivar_effect : ndarray of int, shape (block,)
        Which of the effects is the block's cultivar.
    lower, upper : ndarray, shape (weather, block, stage)
        What was seen this season; -inf and inf where nothing was. [°C·day]
    weather_of : ndarray of int, shape (draw,)
        The weather of each draw.
    shared : Generator
        For what all blocks share.
    own : sequence of Generator
        One for each block, so that its draws don't depend on which other blocks there are.
    newcomers : sequence of Generator
        One for each cultivar that the fit does not know, the last ones: the others' draws don't depend on them.

    Returns
    -------
    ndarray, shape (draw, block, stage)
        Never falling along the stages, and within the bounds. [°C·day]
    """
    draws, (effects_count, stages) = weather_of.size, knowledge[0].effects.mean.shape
    uniform = shared.random(draws)
    normal = shared.standard_normal((draws, (effects_count - len(newcomers)) * stages))
    added = [random.standard_normal((draws, stages)) for random in newcomers]
    normal = np.hstack([normal[:, :-stages], *added, normal[:, -stages:]])
    effects = np.empty((draws, *knowledge[0].effects.mean.shape))
    for weather, known in enumerate(knowledge):
        mine = weather_of == weather
        effects[mine] = _draw_effects(known, uniform[mine], normal[mine])
    # a stage lies after the one before it, so bounds pass along the season
    lower = np.maximum.accumulate(lower, axis=-1)
    upper = np.maximum(np.minimum.accumulate(upper[..., ::-1], axis=-1)[..., ::-1], lower)
    factor = np.linalg.cholesky(within)
    scale = np.empty((len(own), draws))
    heat = np.empty((len(own), draws, stages))
    fits = np.empty((len(own), draws), dtype=np.bool_)
    centre_of = effects[:, :-1].swapaxes(0, 1) + effects[:, -1]
    for place, random in enumerate(own):
        scale[place] = 1 / np.sqrt(random.chisquare(TAIL_DEGREES, draws) / TAIL_DEGREES)
        deviation = random.standard_normal((draws, stages)) @ factor.T
        drawn = heat[place] = centre_of[cultivar_effect[place]] + scale[place, :, None] * deviation
        inside = (drawn >= lower[weather_of, place]) & (drawn <= upper[weather_of, place])
        fits[place] = inside.all(axis=1) & np.all(np.diff(drawn, axis=1) >= 0, axis=1)
    block, draw = np.nonzero(~fits)
    heat[block, draw] = _held_within(
        heat[block, draw],
        centre_of[cultivar_effect[block], draw],
        scale[block, draw],
        within,
        lower=lower[weather_of[draw], block],
        upper=upper[weather_of[draw], block],
        random=[(random, int(count)) for random, count in zip(own, np.sum(~fits, axis=1), strict=True)],
    )
    return heat.swapaxes(0, 1)


def _held_within(
    heat: FloatArray,
    centre: FloatArray,
    scale: FloatArray,
    within: FloatArray,
    *,
    lower: FloatArray,
    upper: FloatArray,
    random: Sequence[tuple[np.random.Generator, int]],
) -> FloatArray:
    """Heat within the bounds and in stage order, by Gibbs sampling; arrays are (row, stage), ``scale`` (row,).

    ``random`` holds the rows' generators in turn, each with how many rows are its own.
    """
    stages = within.shape[0]
    precision = np.linalg.inv(within)
    heat = np.maximum.accumulate(np.clip(heat, lower, np.maximum(upper, lower)), axis=1)
    for _ in range(SWEEPS):
        own = heat - centre
        uniform = np.hstack([np.empty((stages, 0)), *(each.random((stages, rows)) for each, rows in random)])
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
                uniform=uniform[stage],
            )
            own[:, stage] = heat[:, stage] - centre[:, stage]
        distance = np.einsum("rj,jk,rk->r", own, precision, own)
        chi_square = np.hstack(
            [np.empty(0), *(each.chisquare(TAIL_DEGREES + stages, n) for each, n in random)]
        )
        scale = np.sqrt((TAIL_DEGREES + distance) / chi_square)
    return heat


def _draw_effects(knowledge: SeasonKnowledge, uniform: FloatArray, normal: FloatArray) -> FloatArray:
    """Cultivars and season from random numbers of shape (draw,) and (draw, effect * stage).

    The season's tail weight is drawn too, as far as the observations leave it open: fixed at its best value it
    would make a season of which little was seen look like a normal one. Given the season, thresholds don't depend
    on its weight.
    """
    effects, stages = knowledge.effects.mean.shape
    size, season = effects * stages, slice((effects - 1) * stages, None)
    mean = knowledge.effects.mean.reshape(size)
    covariance = knowledge.effects.covariance.reshape(size, size)
    precision = np.asarray(np.linalg.inv(covariance[season, season]), dtype=np.float64)
    means, factors, log_chance = seasons_by_weight(knowledge, precision)
    chance = np.exp(log_chance - log_chance.max())
    through = np.cumsum(chance / chance.sum())
    which = np.minimum(np.searchsorted(through, uniform, side="right"), TAIL_WEIGHTS - 1)
    drawn = np.empty(normal.shape)
    drawn[:, season] = means[which] + np.einsum("djk,dk->dj", factors[which], normal[:, season])
    if effects > 1:
        of_cultivars = slice(0, (effects - 1) * stages)
        gain = covariance[of_cultivars, season] @ precision
        left = covariance[of_cultivars, of_cultivars] - gain @ covariance[season, of_cultivars]
        factor = np.linalg.cholesky(0.5 * (left + left.T))
        drawn[:, of_cultivars] = (
            mean[of_cultivars]
            + (drawn[:, season] - mean[season]) @ gain.T
            + normal[:, of_cultivars] @ factor.T
        )
    drawn[:, season] = means[which] + knowledge.left * (drawn[:, season] - means[which])
    return drawn.reshape(-1, effects, stages)


def seasons_by_weight(
    knowledge: SeasonKnowledge, precision: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean, Cholesky factor and log chance of the season's effect under each tail weight.

    ``precision`` is that of the effect as learned, under the weight that was best there.
    """
    shock = knowledge.shock
    shares = (np.arange(TAIL_WEIGHTS) + 0.5) / TAIL_WEIGHTS
    weights = 2 * gammaincinv(TAIL_DEGREES / 2, shares) / TAIL_DEGREES  # quantiles of chi-square
    priors = np.linalg.inv(knowledge.drift_covariance + shock / weights[:, None, None])
    changes = priors - np.linalg.inv(knowledge.drift_covariance + shock / knowledge.season_weight)
    precisions = precision + changes
    pulls = precision @ knowledge.effects.mean[-1] + changes @ knowledge.drift_mean
    covariances = np.linalg.inv(precisions)
    means = np.einsum("wij,wj->wi", covariances, pulls)
    log_chance = 0.5 * (
        np.linalg.slogdet(priors)[1]
        - np.linalg.slogdet(precisions)[1]
        + np.einsum("wi,wi->w", pulls, means)
        - np.einsum("i,wij,j->w", knowledge.drift_mean, priors, knowledge.drift_mean)
    )
    factors = np.linalg.cholesky(0.5 * (covariances + covariances.transpose(0, 2, 1)))
    return np.asarray(means), np.asarray(factors), np.asarray(log_chance)
