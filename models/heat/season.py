"""What a season is called, and the days over which its heat is summed, in both hemispheres."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from models.errors import BadInput, Problem

JULY = 7


@dataclass(frozen=True)
class SeasonWindow:
    """Days of one season's sum, from ``start`` until the day before ``end``; leap days count."""

    start: dt.date
    end: dt.date

    @property
    def days(self) -> int:
        """Length of the window. [day]"""
        return (self.end - self.start).days

    def day_index(self, date: dt.date) -> int:
        """Days since the start; negative before it, ``days`` or more past the end. [day]"""
        return (date - self.start).days

    def date_at(self, index: int) -> dt.date:
        """The date that many days after the start."""
        return self.start + dt.timedelta(days=index)


def season_of(date: dt.date, latitude: float) -> int:
    """Label of the season to which a date belongs.

    North of the equator, and on it, the calendar year. South of it season Y runs from 1 July of Y - 1 to
    30 June of Y, so that spring and harvest carry one label.
    """
    if latitude < 0 and date.month >= JULY:
        return date.year + 1
    return date.year


def season_window(season: int, latitude: float, accumulate_from: str | None = None) -> SeasonWindow:
    """Days over which a season's heat is summed.

    Parameters
    ----------
    season : int
        Label as given by `season_of`.
    latitude : float
        Negative south of the equator. [degree]
    accumulate_from : str, "MM-DD", or None
        First day of the sum. None is the trade default: 1 January north, 1 July of the year before south. A
        day from July on lies in the year before the season's, in both hemispheres.

    Returns
    -------
    SeasonWindow
        Up to the end of the season: 1 January of ``season + 1`` north, 1 July of ``season`` south, exclusive.

    Raises
    ------
    BadInput
        If the start day is not a day of every year, or the season is out of the calendar's range.
    """
    if not dt.MINYEAR < season < dt.MAXYEAR:
        raise BadInput("the season cannot be read", [Problem("season", f"{season} is not a year")])
    south = latitude < 0
    month, day = _month_and_day(accumulate_from or ("07-01" if south else "01-01"))
    start = dt.date(season - 1 if month >= JULY else season, month, day)
    end = dt.date(season, JULY, 1) if south else dt.date(season + 1, 1, 1)
    return SeasonWindow(start, end)


def _month_and_day(accumulate_from: str) -> tuple[int, int]:
    try:
        month, day = (int(part) for part in accumulate_from.split("-"))
        dt.date(2001, month, day)  # no leap year: a sum from 29 February has no start in most seasons
    except ValueError:
        raise BadInput(
            "the start day cannot be read",
            [Problem("accumulate_from", f"{accumulate_from!r} is not a day; write MM-DD as in 03-15")],
        ) from None
    return month, day
