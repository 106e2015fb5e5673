"""Joint draws of the heat at every block's stages: thresholds, season and blocks' own deviations, in stage order."""

from __future__ import annotations

import numpy as np

from models.bloom.in_season import SeasonKnowledge
from models.bloom.likelihood import draw_in_interval
from models.bloom.mixed_model import TAIL_DEGREES, Spread
from models.bloom.observations import IntArray
from models.units import FloatArray

SWEEPS = 8


def draw_heat(
    knowledge: SeasonKnowledge,
    spread: Spread,
    *,
    cultivar_effect: IntArray,
    lower: FloatArray,
    upper: FloatArray,
    weight: FloatArray,
    stages_seen: IntArray,
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
    weight : ndarray, shape (block,)
        Expected tail weight of each block; 1 where nothing was seen.
    stages_seen : ndarray of int, shape (block,)
        How many stages were seen: the more, the surer the weight.
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
    degrees = TAIL_DEGREES + stages_seen
    scale = np.sqrt(degrees / (weight * random.chisquare(degrees, (draws, blocks))))
    own = random.standard_normal((draws, blocks, stages)) @ np.linalg.cholesky(spread.within).T
    heat = centre + own * scale[:, :, None]
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
    return heat


def _draw_effects(
    knowledge: SeasonKnowledge, spread: Spread, draws: int, random: np.random.Generator
) -> FloatArray:
    """Cultivars and season; shape (draw, effect, stage). A season not yet seen has a t-tailed shock."""
    effects, stages = knowledge.effects.mean.shape
    size = effects * stages
    flat = np.linalg.cholesky(knowledge.effects.covariance.reshape(size, size))
    drawn = random.standard_normal((draws, size)) @ flat.T
    drawn = knowledge.effects.mean + drawn.reshape(draws, effects, stages)
    if not knowledge.learned:
        drift = random.standard_normal((draws, stages)) @ np.linalg.cholesky(knowledge.drift_covariance).T
        shock = random.standard_normal((draws, stages)) @ np.linalg.cholesky(spread.between_seasons).T
        shock *= np.sqrt((1 - spread.drift_share) * TAIL_DEGREES / random.chisquare(TAIL_DEGREES, (draws, 1)))
        drawn[:, -1, :] = knowledge.drift_mean + drift + shock
    return drawn
