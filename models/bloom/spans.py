"""Draws of whole days to low, median and high day."""

from __future__ import annotations

import numpy as np

from models.units import FloatArray


def block_spans(day: FloatArray, interval: float) -> tuple[FloatArray, FloatArray]:
    """Low, median and high day of each block's stages, and the chance that the stage is reached.

    Whole days cannot cut off an exact share: low and high are those that leave nearest to the asked share
    outside, so that intervals hold what they say on average.

    Parameters
    ----------
    day : ndarray, shape (draw, block, stage)
        Whole days; NaN where the season ends first. [day]
    interval : float

    Returns
    -------
    spans : ndarray, shape (block, stage, 3)
        Infinite where the season may end first. [day]
    chances : ndarray, shape (block, stage)
    """
    draws, units = len(day), day[0].size
    comes = np.isfinite(day)
    first, last = (int(day[comes].min()), int(day[comes].max())) if comes.any() else (0, -1)
    days = np.append(np.arange(first, last + 1), np.inf)  # at last the draws in which the season ends first
    place = np.where(comes, day - first, days.size - 1).astype(np.int64).reshape(draws, units)
    place += days.size * np.arange(units)
    counts = np.bincount(place.ravel(), minlength=days.size * units).reshape(*day.shape[1:], days.size)
    through = counts.cumsum(axis=-1)
    outside = (1 - interval) / 2
    off_low, off_high = np.abs((through - counts) / draws - outside), np.abs(1 - through / draws - outside)
    low, high = (np.where(counts > 0, off, np.inf).argmin(axis=-1) for off in (off_low, off_high))
    median = (through > (draws - 1) // 2).argmax(axis=-1)
    spans = days[np.stack([np.minimum(low, median), median, np.maximum(high, median)], axis=-1)]
    return spans, (draws - counts[..., -1]) / draws
