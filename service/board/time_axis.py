"""Dates to places along a picture, in per cent of its width."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

MARGIN_DAYS = 3
MOST_DAYS_TO_TODAY = 45  # a day further off than that would squeeze the bars
ONE_DAY = dt.timedelta(days=1)
MOST_TICKS = 6


@dataclass(frozen=True)
class Tick:
    """A labelled day."""

    date: dt.date
    x: float


@dataclass(frozen=True)
class TimeAxis:
    """Days from ``first`` through ``last``; a day is a stretch, from its morning to the next one's."""

    first: dt.date
    last: dt.date

    @classmethod
    def around(cls, days: Iterable[dt.date], *, today: dt.date) -> TimeAxis | None:
        """An axis that shows all of the days, and today if it is near; None without days."""
        shown = list(days)
        if not shown:
            return None
        first, last = min(shown), max(shown)
        near = dt.timedelta(days=MOST_DAYS_TO_TODAY)
        if first - near <= today <= last + near:
            first, last = min(first, today), max(last, today)
        margin = dt.timedelta(days=MARGIN_DAYS)
        return cls(first - margin, last + margin)

    @property
    def days(self) -> int:
        """Length. [day]"""
        return (self.last - self.first).days + 1

    def morning(self, day: dt.date) -> float:
        """Where a day begins. [%]"""
        return 100 * (day - self.first).days / self.days

    def evening(self, day: dt.date) -> float:
        """Where a day ends. [%]"""
        return self.morning(day + ONE_DAY)

    def noon(self, day: dt.date) -> float:
        """The middle of a day. [%]"""
        return (self.morning(day) + self.evening(day)) / 2

    def shows(self, day: dt.date) -> bool:
        """Whether a day lies on the axis."""
        return self.first <= day <= self.last

    def ticks(self) -> list[Tick]:
        """Mondays, thinned out until they stand apart; none so near to an end that its label would be cut."""
        mondays = [day for day in self._each_day() if day.weekday() == 0]
        step = -(-len(mondays) // MOST_TICKS)
        return [Tick(day, x) for day in mondays[:: max(step, 1)] if 4 <= (x := self.morning(day)) <= 92]

    def _each_day(self) -> Iterable[dt.date]:
        return (self.first + dt.timedelta(days=index) for index in range(self.days))
