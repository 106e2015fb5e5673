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
    within_precision = np.linalg.inv(spread.within)
    # a stage lies after the one before it, so bounds pass along the season
    lower = np.maximum.accumulate(lower, axis=1)
    upper = np.minimum.accumulate(upper[:, ::-1], axis=1)[:, ::-1]
    heat = np.maximum.accumulate(np.clip(heat, lower, np.maximum(upper, lower)), axis=2)
    for _ in range(SWEEPS):
        for stage in range(stages):
            others = [other for other in range(stages) if other != stage]
            mean, sd = centre[:, :, stage], np.sqrt(spread.within[stage, stage]) * scale
            if others:
                pull = np.linalg.solve(spread.within[np.ix_(others, others)], spread.within[others, stage])
                mean = mean + (heat[:, :, others] - centre[:, :, others]) @ pull
                sd = np.sqrt(spread.within[stage, stage] - spread.within[stage, others] @ pull) * scale
            floor = np.broadcast_to(lower[:, stage], mean.shape)
            roof = np.broadcast_to(upper[:, stage], mean.shape)
            if stage > 0:
                floor = np.maximum(floor, heat[:, :, stage - 1])
            if stage < stages - 1:
                roof = np.minimum(roof, heat[:, :, stage + 1])
            uniform = random.random(mean.shape)
            heat[:, :, stage] = draw_in_interval(
                floor, np.maximum(roof, floor), mean=mean, sd=sd, uniform=uniform
            )
        own = heat - centre
        distance = np.einsum("dbj,jk,dbk->db", own, within_precision, own)
        scale = np.sqrt((TAIL_DEGREES + distance) / random.chisquare(TAIL_DEGREES + stages, distance.shape))
    return heat


def _draw_effects(
    knowledge: SeasonKnowledge, spread: Spread, draws: int, random: np.random.Generator
) -> FloatArray:
    """Cultivars and season; shape (draw, effect, stage).

    The season's tail weight is drawn too, as far as the observations leave it open: fixed at its best value it
    would make a season of which little was seen look like a normal one.
    """
    effects, stages = knowledge.effects.mean.shape
    size, season = effects * stages, slice(-stages, None)
    precision = np.linalg.inv(knowledge.effects.covariance.reshape(size, size))
    pull = precision @ knowledge.effects.mean.reshape(size)
    shock = (1 - spread.drift_share) * spread.between_seasons
    used = np.linalg.inv(knowledge.drift_covariance + shock / knowledge.season_weight)
    shares = (np.arange(TAIL_WEIGHTS) + 0.5) / TAIL_WEIGHTS
    means, factors, log_chance = [], [], []
    for weight in chi2.ppf(shares, TAIL_DEGREES) / TAIL_DEGREES:
        prior = np.linalg.inv(knowledge.drift_covariance + shock / weight)
        told, told_pull = precision.copy(), pull.copy()
        told[season, season] += prior - used
        told_pull[season] += (prior - used) @ knowledge.drift_mean
        covariance = np.linalg.inv(told)
        means.append(covariance @ told_pull)
        factors.append(np.linalg.cholesky(0.5 * (covariance + covariance.T)))
        log_chance.append(
            0.5 * (np.linalg.slogdet(prior)[1] - np.linalg.slogdet(told)[1] + told_pull @ means[-1])
            - 0.5 * knowledge.drift_mean @ prior @ knowledge.drift_mean
        )
    chance = np.exp(np.array(log_chance) - max(log_chance))
    which = random.choice(TAIL_WEIGHTS, size=draws, p=chance / chance.sum())
    normal = random.standard_normal((draws, size))
    drawn = np.empty((draws, size))
    for place in np.unique(which):
        mine = which == place
        drawn[mine] = means[place] + normal[mine] @ factors[place].T
    return drawn.reshape(draws, effects, stages)
