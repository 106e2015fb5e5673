"""The bloom of a block of whose shoots a share froze: primary and secondary bloom as one curve."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from models.bloom.caps_off import cumulative_share
from models.bloom.flower_curve import STAGES_ON_LINE, from_line
from models.bloom.frost_delay import frost_delay
from models.stages import BLOOM_STAGES, STAGE_KEYS
from models.units import FloatArray

_ROUNDING = 1e-9


def flowers_left(share_killed: float, *, fruitfulness: float | FloatArray) -> FloatArray:
    """Share of its flowers that a block still bears.

    Parameters
    ----------
    share_killed : float
        Of the shoots, 0 to 1.
    fruitfulness : float or ndarray
        Flowers of a secondary shoot beside those of a primary one, 0 to 1. Not known of muscadine: anything from none
        to as many is taken as likely (assumption).

    Returns
    -------
    ndarray
        Of the shape of ``fruitfulness``.
    """
    return np.asarray(1.0 - share_killed * (1.0 - np.asarray(fruitfulness, dtype=np.float64)))


def mixed_bloom(
    primary: FloatArray, secondary: FloatArray, *, share_killed: float, fruitfulness: FloatArray
) -> FloatArray:
    """Bloom start, full bloom and bloom end of two blooms together. [day]

    Of all flowers that are left, so many come from secondary shoots as these bear; each kind opens along the curve of
    its own three stages. The days are those by which 10, 50 and 95 % of all are open.

    Parameters
    ----------
    primary, secondary : ndarray, shape (draw, 3)
        Whole, finite days of either bloom's stages; the secondary one's are no earlier. [day]
    share_killed : float
        Of the shoots, above 0 and at most 1.
    fruitfulness : ndarray, shape (draw,)
        Flowers of a secondary shoot beside those of a primary one.

    Returns
    -------
    ndarray, shape (draw, 3)
        Whole days, none before the primary bloom's nor after the secondary one's.
    """
    if share_killed == 1:
        return secondary
    left = flowers_left(share_killed, fruitfulness=fruitfulness)
    from_secondary = (share_killed * fruitfulness / left)[:, np.newaxis]
    days = np.arange(primary.min(), secondary.max() + 1)

    def opened(bloom: FloatArray) -> FloatArray:
        start, full, end = bloom.T[..., np.newaxis]
        return cumulative_share(days, start=start, full=full, end=end)

    together = (1 - from_secondary) * opened(primary) + from_secondary * opened(secondary)
    shares = from_line(STAGES_ON_LINE)
    reached = together[:, np.newaxis, :] >= shares[:, np.newaxis] - _ROUNDING
    return np.asarray(days[reached.argmax(axis=-1)])


def frosted_bloom(
    days: FloatArray, stages: Sequence[str], *, share_killed: float, random: np.random.Generator
) -> FloatArray:
    """Draws of a block's days once a share of its shoots froze. [day]

    Stages before bloom stay, those after it are delayed as its end. Where a bloom stage is not among the stages, or
    comes after the season, all of the bloom counts as secondary.

    Parameters
    ----------
    days : ndarray, shape (draw, stage)
        Of the block as if nothing had frozen; NaN where the season ends first. [day]
    stages : sequence of str
        Keys, in season order.
    share_killed : float
        Above 0, at most 1.
    random : Generator

    Returns
    -------
    ndarray, shape (draw, stage)
        The larger the share, the later each draw; whole days.
    """
    delayed = days + frost_delay(stages, draws=len(days), random=random)
    fruitfulness = random.random(len(days))
    if share_killed == 1 or not set(BLOOM_STAGES) <= set(stages):
        return delayed
    bloom = [stages.index(stage) for stage in BLOOM_STAGES]
    whole = np.flatnonzero(np.isfinite(days[:, bloom]).all(axis=1))
    if whole.size:
        found = delayed[whole]
        mixed = mixed_bloom(
            days[whole][:, bloom],
            found[:, bloom],
            share_killed=share_killed,
            fruitfulness=fruitfulness[whole],
        )
        end = STAGE_KEYS.index(BLOOM_STAGES[-1])
        after = [place for place, stage in enumerate(stages) if STAGE_KEYS.index(stage) > end]
        found[:, after] -= (found[:, bloom[-1]] - mixed[:, -1])[:, np.newaxis]
        found[:, bloom] = mixed
        delayed[whole] = found
    return delayed


def counted_on(share_killed: float, *, draws: int, random: np.random.Generator) -> NDArray[np.bool_]:
    """In which draws the pollen of what froze in part is counted on: in the share of them of its shoots that are left.

    An assumption: whether the flowers that are left suffice is not known. A larger share drops those that a smaller
    one drops, and more.
    """
    return np.asarray(random.permutation(draws) >= share_killed * draws)
