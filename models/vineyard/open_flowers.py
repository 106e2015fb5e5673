"""How a block's flowers open over the days of its bloom, from the three bloom stages."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from models.bloom.caps_off import END, FIRST, FULL, LAST, START, cumulative_share
from models.units import FloatArray

DayArray = NDArray[np.int64]


def bloom_days(bloom: FloatArray) -> DayArray:
    """Every day on which a flower opens in any draw.

    Parameters
    ----------
    bloom : ndarray, shape (draw, 3)
        Days of bloom start, full bloom and bloom end, finite. [day]

    Returns
    -------
    ndarray of int, shape (day,)
        Consecutive days. [day]
    """
    start, full, end = bloom.T
    first = np.min(full - (full - start) * (FULL - FIRST) / (FULL - START))
    last = np.max(full + (end - full) * (LAST - FULL) / (END - FULL))
    return np.arange(math.floor(first), math.ceil(last) + 2)  # the last day closes the curve: the sum is 1


def share_by_day(bloom: FloatArray, days: DayArray) -> FloatArray:
    """Share of a block's caps that fall on each day.

    Parameters
    ----------
    bloom : ndarray, shape (draw, 3)
        Days of bloom start, full bloom and bloom end, finite. [day]
    days : ndarray of int, shape (day,)
        Consecutive days. [day]

    Returns
    -------
    ndarray, shape (draw, day)
        Sums to 1 in each draw where ``days`` hold the whole bloom.
    """
    # draws differ in pace by few whole days: one curve, moved to the day of full bloom, serves many of them
    middle = np.floor(bloom[:, 1:2])
    paces, pace_of = distinct(bloom - middle)
    moved = (days[0] - middle).astype(np.int64)
    edges = np.arange(moved.min() - 1, moved.max() + days.size)
    start, full, end = paces.T[..., np.newaxis]
    curves = np.diff(cumulative_share(edges, start=start, full=full, end=end), axis=-1)
    return np.asarray(curves[pace_of[:, np.newaxis], moved - moved.min() + np.arange(days.size)])


def distinct(rows: FloatArray) -> tuple[FloatArray, NDArray[np.int64]]:
    """The rows that there are, each once, and which of them each row is."""
    order = np.lexsort(rows.T)
    ordered = rows[order]
    is_new = np.append(True, np.any(ordered[1:] != ordered[:-1], axis=1))
    place = np.empty(len(rows), dtype=np.int64)
    place[order] = np.cumsum(is_new) - 1
    return ordered[is_new], place
