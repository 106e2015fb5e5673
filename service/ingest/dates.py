"""Dates: ISO 8601, or the one format that the sender names. Never guessed."""

from __future__ import annotations

import calendar
import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from models.errors import BadInput, Problem
from models.heat.season import season_of
from models.records import DateArray
from service.ingest.cells import shown

FIRST_YEAR, LAST_YEAR = 1850, 2200

_ISO_DAY = re.compile(r"(\d{4})-(\d{2})-(\d{2})", re.ASCII)
_ISO_TIME = re.compile(r"[T ](\d{2}):?(\d{2})(?::?(\d{2})(?:\.\d+)?)?(Z|[+-]\d{2}(?::?\d{2})?)?", re.ASCII)
_CLOCK = re.compile(r"(.*?)[T ]+(\d{1,2}):(\d{2})(?::(\d{2})(?:\.\d+)?)?(?: *([AaPp])\.?[Mm]\.?)?", re.ASCII)
_SHORT_FORM = re.compile(r"(\d{1,2})([/.-])(\d{1,2})(?:\2(\d{4}|\d{2})|\2?)", re.ASCII)
_YEAR_FIRST = re.compile(r"\d{4}([/.-])\d{1,2}\1\d{1,2}", re.ASCII)
_MIDNIGHT = dt.time(0)
_ADVICE = "write dates as 2026-05-31, or pass date_format"


class TimeOfDay(BadInput):
    """A date with a time other than midnight: not a row of a daily table. ``day`` and ``time`` are its parts."""

    def __init__(self, message: str, day: dt.date, time: dt.time) -> None:
        super().__init__(message)
        self.day = day
        self.time = time


@dataclass(frozen=True)
class DateForm:
    """How the dates of one file are written.

    Attributes
    ----------
    text : str or None
        In the notation of strptime, as "%d/%m/%Y"; None for ISO 8601. Without a year, as "%m/%d" or "%j", the year is
        that of a season.
    iso_too : bool
        Whether ISO dates are read beside: a workbook knows its dates as such.
    """

    text: str | None = None
    iso_too: bool = False

    def __post_init__(self) -> None:
        """Raises BadInput if the format does not say month and day, or holds a directive that is not known."""
        if self.text is None:
            return
        advice = "give year, month and day as in %d/%m/%Y, or without the year as in %m/%d or %j"
        directives = self._directives
        whole = "j" in directives or ("d" in directives and directives & {"m", "b", "B"})
        try:
            sample = dt.datetime(2001, 2, 3).strftime(self.text)  # noqa: DTZ001
            year = ("", "") if self.has_year else ("2001 ", "%Y ")
            dt.datetime.strptime(year[0] + sample, year[1] + self.text)  # noqa: DTZ007
        except (ValueError, re.error):
            whole = False
        if not whole:
            problem = f"{shown(self.text)} is not a format for dates; {advice}"
            raise BadInput("the date format cannot be used", [Problem("date_format", problem)])

    @property
    def _directives(self) -> set[str]:
        return set(re.findall(r"%([a-zA-Z%])", self.text or "%Y"))

    @cached_property
    def has_year(self) -> bool:
        """Whether a date says its year."""
        return bool(self._directives & {"Y", "y"})


ISO = DateForm()


@dataclass(frozen=True)
class SeasonYear:
    """The season that a row names, and where: it gives the year to dates that have none. [degree]"""

    season: int
    latitude: float


def parse_date(text: str, form: DateForm = ISO, *, year: SeasonYear | None = None) -> dt.date:
    """A day of the calendar.

    Parameters
    ----------
    text : str
        ISO 8601, also with a time of midnight; or as ``form`` says.
    form : DateForm
    year : SeasonYear or None
        For a form without year.

    Raises
    ------
    TimeOfDay
        If a time other than midnight stands beside the date.
    BadInput
        If it is no date, is ambiguous, does not exist, lies outside 1850 to 2200, or has no year where none is known.
    """
    if form.text is None and len(text) == 10 and text[4] == text[7] == "-":  # as most are, and there are many
        try:
            day, time = dt.date.fromisoformat(text), _MIDNIGHT
        except ValueError:
            day, time = _iso(text)
    elif form.text is None or (form.iso_too and _ISO_DAY.match(text)):
        day, time = _iso(text)
    elif form.has_year:
        day, time = _formatted(text, form.text)
    else:
        day, time = _of_season(text, form.text, year), dt.time(0)
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise BadInput(f"{shown(text)} is outside the years {FIRST_YEAR} to {LAST_YEAR}")
    if time != _MIDNIGHT:
        raise TimeOfDay(f"{shown(text)} has a time of day; a day's row has none", day, time)
    return day


def plain_days(texts: Sequence[str], form: DateForm = ISO) -> DateArray | None:
    """What `parse_date` says of many texts, if all of them are written as 2026-05-31 and right; else None."""
    if (form.text is not None and not form.iso_too) or not set(map(len, texts)) <= {10}:
        return None
    try:
        days = np.array(texts, dtype="datetime64[D]")
    except ValueError:
        return None
    # Whatever else NumPy takes for a date at that length, as " 026-05-31", lies in other years.
    years = days.astype("datetime64[Y]").astype(np.int64) + 1970
    return days if np.all((years >= FIRST_YEAR) & (years <= LAST_YEAR)) else None


def _iso(text: str) -> tuple[dt.date, dt.time]:
    match = _ISO_DAY.match(text)
    if match is None:
        raise BadInput(_not_iso(text))
    rest = text[match.end() :]
    time = dt.time(0)
    if rest:
        if clock := _ISO_TIME.fullmatch(rest):
            time = _time(text, int(clock[1]), int(clock[2]), int(clock[3] or 0))
        elif (clock := _CLOCK.fullmatch(text)) and clock[1] == match[0]:
            time = _time(text, int(clock[2]), int(clock[3]), int(clock[4] or 0), clock[5])
        else:
            raise BadInput(f"{shown(text)} is not a date; {_ADVICE}")
    year, month, day = int(match[1]), int(match[2]), int(match[3])
    try:
        return dt.date(year, month, day), time
    except ValueError:
        raise BadInput(_no_such_day(text, year, month, day)) from None


def _time(text: str, hour: int, minute: int, second: int, half: str | None = None) -> dt.time:
    if half is not None:
        if not 1 <= hour <= 12:
            raise BadInput(f"{shown(text)} has no such hour")
        hour = hour % 12 + (12 if half.casefold() == "p" else 0)
    try:
        return dt.time(hour, minute, second)
    except ValueError:
        raise BadInput(f"{shown(text)} has no such time of day") from None


def _formatted(text: str, date_format: str) -> tuple[dt.date, dt.time]:
    """By the format; a time of day may stand behind a date whose format has none."""
    try:
        moment = dt.datetime.strptime(text, date_format)  # noqa: DTZ007
    except ValueError as error:
        if clock := _CLOCK.fullmatch(text):
            day, _ = _formatted(clock[1], date_format)
            return day, _time(text, int(clock[2]), int(clock[3]), int(clock[4] or 0), clock[5])
        if str(error).startswith("day"):  # "day is out of range for month": the form is right
            raise BadInput(f"{shown(text)} does not exist: the month has fewer days") from None
        raise BadInput(f"{shown(text)} is not a date of the form {date_format}") from None
    if "%j" in date_format and "366" in text and (moment.month, moment.day) == (1, 1):
        raise BadInput(
            f"{shown(text)} does not exist: its year has 365 days"
        )  # strptime goes on to the next year
    return moment.date(), moment.time()


def _of_season(text: str, date_format: str, year: SeasonYear | None) -> dt.date:
    if year is None:
        raise BadInput(f"{shown(text)} has no year, and the row names no season")
    day: dt.date | None = None
    for each in (year.season, year.season - 1):
        try:
            day, _ = _formatted(f"{each:04} {text}", f"%Y {date_format}")
        except BadInput:
            continue
        if season_of(day, year.latitude) == year.season:
            return day
    if day is None:
        raise BadInput(f"{shown(text)} is not a date of the form {date_format} in season {year.season}")
    raise BadInput(f"{shown(text)} does not lie in season {year.season}")


def _no_such_day(text: str, year: int, month: int, day: int) -> str:
    if not 1 <= month <= 12:
        return f"{shown(text)} does not exist: there is no month {month}"
    if (month, day) == (2, 29):
        return f"29 February {year} does not exist: {year} is no leap year"
    return f"{day} {calendar.month_name[month]} {year} does not exist"


def _not_iso(text: str) -> str:
    if not text:
        return "the date is blank"
    if clock := _CLOCK.fullmatch(text):
        return _not_iso(clock[1])
    if match := _SHORT_FORM.fullmatch(text):
        first, mark, second = int(match[1]), match[2], int(match[3])
        year = {4: f"{mark}%Y", 2: f"{mark}%y", 0: ""}[len(match[4] or "")]
        forms = [f"%d{mark}%m{year}"] if second <= 12 else []
        forms += [f"%m{mark}%d{year}"] if first <= 12 else []
        if forms:
            could = "may be either way round" if len(forms) == 2 else "is not an ISO date"
            return f"{shown(text)} {could}; {_ADVICE}={' or '.join(forms)}"
    if match := _YEAR_FIRST.fullmatch(text):
        return f"{shown(text)} is not an ISO date; {_ADVICE}=%Y{match[1]}%m{match[1]}%d"
    if re.fullmatch(r"\d{8}", text, re.ASCII):
        return f"{shown(text)} is not an ISO date with hyphens; {_ADVICE}=%Y%m%d"
    if re.fullmatch(r"\d{5}(\.\d+)?", text, re.ASCII):
        return f"{shown(text)} looks like a spreadsheet's day number; write dates as 2026-05-31"
    if re.fullmatch(r"\d{1,3}", text, re.ASCII) and 1 <= int(text) <= 366:
        return f"{shown(text)} looks like a day of the year; {_ADVICE}=%j"
    return f"{shown(text)} is not a date; {_ADVICE}, for example %d/%m/%Y"
