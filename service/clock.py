"""The clock: the one place where Capfall looks at it."""

from __future__ import annotations

import datetime as dt


def now() -> dt.datetime:
    """This moment, in UTC."""
    return dt.datetime.now(dt.UTC)


def today() -> dt.date:
    """The day on this machine's calendar."""
    return now().astimezone().date()
