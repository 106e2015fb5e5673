"""Dates: ISO 8601, or the one format that the sender names. Never guessed."""

from __future__ import annotations

import calendar
import datetime as dt
import re

from models.errors import BadInput, Problem
from service.ingest.cells import shown

FIRST_YEAR, LAST_YEAR = 1850, 2200

_ISO_DAY = re.compile(r"(\d{4})-(\d{2})-(\d{2})", re.ASCII)
_ISO_TIME = re.compile(r"[T ](\d{2}:?\d{2}(?::?\d{2}(?:\.\d+)?)?)(?:Z|[+-]\d{2}(?::?\d{2})?)?", re.ASCII)
_SHORT_FORM = re.compile(r"(\d{1,2})([/.-])(\d{1,2})\2(\d{4}|\d{2})", re.ASCII)
_YEAR_FIRST = re.compile(r"\d{4}([/.-])\d{1,2}\1\d{1,2}", re.ASCII)
_ADVICE = "write dates as 2026-05-31, or pass date_format"


class TimeOfDay(BadInput):
    """A date with a time other than midnight: not a row of a daily table. ``day`` is its date."""

    def __init__(self, message: str, day: dt.date) -> None:
        super().__init__(message)
        self.day = day


def check_date_format(date_format: str | None) -> None:
    """See to it that a date format says year, month and day.

    Raises
    ------
    BadInput
        If it does not, or holds a directive that is not known.
    """
    if date_format is None:
        return
    advice = "give year, month and day as in %d/%m/%Y"
    directives = set(re.findall(r"%([a-zA-Z%])", date_format))
    has_year = directives & {"Y", "y"}
    has_day = "j" in directives or ("d" in directives and directives & {"m", "b", "B"})
    try:
        sample = dt.datetime(2001, 2, 3).strftime(date_format)  # noqa: DTZ001
        dt.datetime.strptime(sample, date_format)  # noqa: DTZ007
    except (ValueError, re.error):
        has_year = set()
    if not (has_year and has_day):
        problem = f"{shown(date_format)} is not a format for dates; {advice}"
        raise BadInput("the date format cannot be used", [Problem("date_format", problem)])


def parse_date(text: str, *, date_format: str | None = None) -> dt.date:
    """A day of the calendar.

    Parameters
    ----------
    text : str
        ISO 8601, also with a time of midnight; or as ``date_format`` says.
    date_format : str or None
        In the notation of strptime, as "%d/%m/%Y".

    Raises
    ------
    TimeOfDay
        If a time other than midnight stands beside the date.
    BadInput
        If it is no date, is ambiguous, does not exist, or lies outside 1850 to 2200.
    """
    day, time = _iso(text) if date_format is None else _formatted(text, date_format)
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise BadInput(f"{shown(text)} is outside the years {FIRST_YEAR} to {LAST_YEAR}")
    if time:
        raise TimeOfDay(f"{shown(text)} has a time of day; a day's row has none", day)
    return day


def _iso(text: str) -> tuple[dt.date, bool]:
    match = _ISO_DAY.match(text)
    if match is None:
        raise BadInput(_not_iso(text))
    rest = text[match.end() :]
    time = False
    if rest:
        clock = _ISO_TIME.fullmatch(rest)
        if clock is None:
            raise BadInput(f"{shown(text)} is not a date; {_ADVICE}")
        time = bool(clock[1].strip("0:."))
    year, month, day = int(match[1]), int(match[2]), int(match[3])
    try:
        return dt.date(year, month, day), time
    except ValueError:
        raise BadInput(_no_such_day(text, year, month, day)) from None


def _formatted(text: str, date_format: str) -> tuple[dt.date, bool]:
    try:
        moment = dt.datetime.strptime(text, date_format)  # noqa: DTZ007
    except ValueError as error:
        if str(error).startswith("day"):  # "day is out of range for month": the form is right
            raise BadInput(f"{shown(text)} does not exist: the month has fewer days") from None
        raise BadInput(f"{shown(text)} is not a date of the form {date_format}") from None
    return moment.date(), moment.time() != dt.time(0)


def _no_such_day(text: str, year: int, month: int, day: int) -> str:
    if not 1 <= month <= 12:
        return f"{shown(text)} does not exist: there is no month {month}"
    if (month, day) == (2, 29):
        return f"29 February {year} does not exist: {year} is no leap year"
    return f"{day} {calendar.month_name[month]} {year} does not exist"


def _not_iso(text: str) -> str:
    if not text:
        return "the date is blank"
    if match := _SHORT_FORM.fullmatch(text):
        first, mark, second = int(match[1]), match[2], int(match[3])
        year = "%Y" if len(match[4]) == 4 else "%y"
        forms = [f"%d{mark}%m{mark}{year}"] if second <= 12 else []
        forms += [f"%m{mark}%d{mark}{year}"] if first <= 12 else []
        if forms:
            could = "may be either way round" if len(forms) == 2 else "is not an ISO date"
            return f"{shown(text)} {could}; {_ADVICE}={' or '.join(forms)}"
    if match := _YEAR_FIRST.fullmatch(text):
        return f"{shown(text)} is not an ISO date; {_ADVICE}=%Y{match[1]}%m{match[1]}%d"
    if re.fullmatch(r"\d{8}", text, re.ASCII):
        return f"{shown(text)} is not an ISO date with hyphens; {_ADVICE}=%Y%m%d"
    if re.fullmatch(r"\d{5}(\.\d+)?", text, re.ASCII):
        return f"{shown(text)} looks like a spreadsheet's day number; write dates as 2026-05-31"
    return f"{shown(text)} is not a date; {_ADVICE}, for example %d/%m/%Y"
