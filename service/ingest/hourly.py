"""Readings of each hour to daily extremes.

A day is the calendar day of the times as they are written. Its minimum and maximum are the lowest and highest reading.
It needs readings in 20 of its 24 hours, else it is missing: the coldest or warmest hour may be among those that lack.
"""

from __future__ import annotations

import numpy as np

from models.errors import BadInput, Problem
from service.ingest.day_rows import FEWEST_HOURS, KNOWN, TOO_FEW_HOURS, DayRows, IntArray

HOURS = 25  # some count them from 0 on, some to 24


def daily_extremes(readings: DayRows, hour: IntArray) -> DayRows:
    """Extremes of each day, with its first line; days without any reading too.

    Parameters
    ----------
    readings : DayRows
        One reading a row, or the extremes of one hour.
    hour : ndarray of int, shape (row,)
        0 to 24.

    Raises
    ------
    BadInput
        If no day has readings in enough hours: three hours apart they miss the extremes.
    """
    dates, first, day = np.unique(readings.date, return_index=True, return_inverse=True)
    known = readings.missing == KNOWN
    low, high = np.full((2, dates.size), np.nan)
    np.fmin.at(low, day[known], readings.tmin[known])
    np.fmax.at(high, day[known], readings.tmax[known])
    hours = np.bincount(np.unique(day[known] * HOURS + hour[known]) // HOURS, minlength=dates.size)
    most = int(hours.max(initial=0))
    if most < FEWEST_HOURS:
        problem = (
            f"no day has readings in more than {most} hours; {FEWEST_HOURS} of 24 are needed for its extremes, "
            "so send the daily minimum and maximum"
        )
        raise BadInput("the readings are too far apart", [Problem("date", problem)])
    missing = np.where(hours >= FEWEST_HOURS, KNOWN, TOO_FEW_HOURS)
    return DayRows(readings.line[first], dates, low, high, missing)
