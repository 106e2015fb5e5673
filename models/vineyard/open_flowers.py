"""How a block's flowers open over the days of its bloom, from the three bloom stages."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.bloom.flower_curve import STAGES_ON_LINE, from_line, to_line
from models.units import FloatArray

DayArray = NDArray[np.int64]

# The curve has no first and no last flower. The outermost flowers open on the day where it passes this share, or all
# but this share, so that a bloom begins and ends. Our convention.
TAIL = 0.01

_START, _FULL, _END = STAGES_ON_LINE.tolist()
_FIRST, _LAST = to_line([TAIL, 1 - TAIL]).tolist()


def cumulative_share(day: ArrayLike, *, start: ArrayLike, full: ArrayLike, end: ArrayLike) -> FloatArray:
    """Share of a block's caps that have fallen by the end of a day.

    Two straight lines, on the scale of `models.bloom.flower_curve`, that meet at full bloom: one through 10 and
    50 %, one through 50 and 95 %. The simplest curve that keeps all three days exactly and lets the two halves
    differ in pace. Stages on one day make a step, so that each stage still comes on its day.

    Parameters
    ----------
    day : array_like
        Days since the start of the season; may be infinite. [day]
    start, full, end : array_like
        Days of bloom start (10 %), full bloom (50 %) and bloom end (95 %), in this order, finite. [day]

    Returns
    -------
    ndarray
        From 0 to 1, of the shape to which the arguments broadcast.
    """
    since_full = np.asarray(day, dtype=np.float64) - np.asarray(full, dtype=np.float64)
    before = since_full < 0
    width = np.where(before, np.subtract(full, start), np.subtract(end, full))
    rise = np.where(before, _FULL - _START, _END - _FULL)
    step = np.where(before, -np.inf, np.inf)
    line = np.where(width > 0, _FULL + rise * since_full / np.where(width > 0, width, 1.0), step)
    share = np.where(line < _FIRST, 0.0, np.where(line > _LAST, 1.0, from_line(line)))
    return np.asarray(share, dtype=np.float64)


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
    first = np.min(full - (full - start) * (_FULL - _FIRST) / (_FULL - _START))
    last = np.max(full + (end - full) * (_LAST - _FULL) / (_END - _FULL))
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
    paces, pace_of = _distinct(bloom - middle)
    moved = (days[0] - middle).astype(np.int64)
    edges = np.arange(moved.min() - 1, moved.max() + days.size)
    start, full, end = paces.T[..., np.newaxis]
    curves = np.diff(cumulative_share(edges, start=start, full=full, end=end), axis=-1)
    return np.asarray(curves[pace_of[:, np.newaxis], moved - moved.min() + np.arange(days.size)])


def _distinct(rows: FloatArray) -> tuple[FloatArray, NDArray[np.int64]]:
    """The rows that there are, each once, and which of them each row is."""
    order = np.lexsort(rows.T)
    ordered = rows[order]
    is_new = np.append(True, np.any(ordered[1:] != ordered[:-1], axis=1))
    place = np.empty(len(rows), dtype=np.int64)
    place[order] = np.cumsum(is_new) - 1
    return ordered[is_new], place
