"""Which share of a block's caps is off by a day, from the three bloom stages."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from models.bloom.flower_curve import STAGES_ON_LINE, from_line, to_line
from models.units import FloatArray

# The curve has no first and no last flower. The outermost flowers open on the day where it passes this share, or all
# but this share, so that a bloom begins and ends. Our convention.
TAIL = 0.01

START, FULL, END = STAGES_ON_LINE.tolist()
FIRST, LAST = to_line([TAIL, 1 - TAIL]).tolist()
"""Where the stages, and the outermost flowers, lie on the curve's line."""


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
    rise = np.where(before, FULL - START, END - FULL)
    step = np.where(before, -np.inf, np.inf)
    line = np.where(width > 0, FULL + rise * since_full / np.where(width > 0, width, 1.0), step)
    share = np.where(line < FIRST, 0.0, np.where(line > LAST, 1.0, from_line(line)))
    return np.asarray(share, dtype=np.float64)
