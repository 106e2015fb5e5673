"""Readings of each hour to daily extremes.

A day is the calendar day of the times as they are written. Its minimum and maximum are the lowest and highest reading.
It needs readings in 20 of its 24 hours, else it is missing: the coldest or warmest hour may be among those that lack.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import NamedTuple

from models.errors import BadInput, Problem

FEWEST_HOURS = 20  # ours


class HourReading(NamedTuple):
    """One reading, or the extremes of one hour; ``missing`` says why it has no value. [unit of the file]"""

    line: int
    date: dt.date
    hour: int
    low: float
    high: float
    missing: str | None


class HourlyDay(NamedTuple):
    """A day's extremes, and in how many of its hours there was a reading. [unit of the file]"""

    line: int
    date: dt.date
    low: float
    high: float
    hours: int


def daily_extremes(readings: Iterable[HourReading]) -> list[HourlyDay]:
    """Extremes of each day, in the order of their first lines; days without any reading too.

    Raises
    ------
    BadInput
        If no day has readings in enough hours: three hours apart they miss the extremes.
    """
    by_day: dict[dt.date, list[HourReading]] = {}
    for reading in readings:
        by_day.setdefault(reading.date, []).append(reading)
    days = []
    for date, found in by_day.items():
        known = [reading for reading in found if reading.missing is None]
        low = min((reading.low for reading in known), default=float("nan"))
        high = max((reading.high for reading in known), default=float("nan"))
        days.append(HourlyDay(found[0].line, date, low, high, len({reading.hour for reading in known})))
    most = max((day.hours for day in days), default=0)
    if most < FEWEST_HOURS:
        problem = (
            f"no day has readings in more than {most} hours; {FEWEST_HOURS} of 24 are needed for its extremes, "
            "so send the daily minimum and maximum"
        )
        raise BadInput("the readings are too far apart", [Problem("date", problem)])
    return days
