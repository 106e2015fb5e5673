"""The clock, and the day that it is in a place: nothing else in Capfall looks at either."""

from __future__ import annotations

import datetime as dt
import time
from difflib import get_close_matches
from functools import cache
from zoneinfo import ZoneInfo, available_timezones

from models.errors import BadInput, Problem


def now() -> dt.datetime:
    """This moment, in UTC."""
    return dt.datetime.now(dt.UTC)


def today(timezone: str | None = None) -> dt.date:
    """The day in a time zone (a name that `check_timezone` lets pass), by default in this machine's."""
    return now().astimezone(None if timezone is None else ZoneInfo(timezone)).date()


def seconds() -> float:
    """What a stopwatch shows; it goes on evenly while the clock is set. [s]"""
    return time.monotonic()


def check_timezone(name: str) -> str:
    """The name of a time zone, if there is such a one in the IANA time zone database.

    Raises
    ------
    BadInput
        If there is none; with the nearest name.
    """
    known = _timezones()
    if name in known:
        return name
    spelled = {each.lower(): each for each in known}
    near = get_close_matches(name.strip().lower().replace(" ", "_"), spelled, n=1)
    hint = f"did you mean {spelled[near[0]]!r}?" if near else "write it as in 'America/Chicago'"
    problem = f"{name!r} is no time zone of the IANA database: {hint}"
    raise BadInput(problem, [Problem("timezone", problem)])


@cache
def _timezones() -> frozenset[str]:
    return frozenset(available_timezones())
