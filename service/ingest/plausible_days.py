"""Days on which nothing can have been measured or seen, or is unlikely to: to come, long ago, or alone in time."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from models.errors import BadInput, Problem
from service.ingest.options import overridden_by

# Ours. The first is longer than growers' logs go back; the second parts a slip in the century from a record with holes.
MOST_YEARS_BACK = 75
LONGEST_PAUSE_YEARS = 20
LONGEST_OUTLOOK_DAYS = 300


def check_not_to_come(day: dt.date, *, today: dt.date) -> None:
    """Refuse a day that is still to come; tomorrow has begun somewhere on earth. Raises BadInput."""
    if day > today + dt.timedelta(days=1):
        raise BadInput(f"{day} is still to come; {overridden_by('dates')}")


def check_seen(day: dt.date, *, today: dt.date) -> None:
    """Refuse a day on which nobody can have looked, or not within a grower's memory. Raises BadInput."""
    check_not_to_come(day, today=today)
    if day.year < today.year - MOST_YEARS_BACK:
        raise BadInput(f"{day} is more than {MOST_YEARS_BACK} years ago; {overridden_by('dates')}")


def check_outlook_days(issued_on: dt.date, last: dt.date, *, today: dt.date | None) -> None:
    """Refuse an outlook that nobody can have issued yet, or of a season to come. Raises BadInput."""
    problems = []
    if today is not None and issued_on > today + dt.timedelta(days=1):
        problems.append(Problem("issued_on", f"{issued_on} is still to come; {overridden_by('dates')}"))
    if (last - issued_on).days > LONGEST_OUTLOOK_DAYS:
        problem = (
            f"the outlook ends on {last}, more than {LONGEST_OUTLOOK_DAYS} days on; {overridden_by('dates')}"
        )
        problems.append(Problem("issued_on", problem))
    if problems:
        raise BadInput("the days of the outlook cannot be right", problems)


def far_from_the_rest(years: Sequence[int] | NDArray[np.int64]) -> frozenset[int]:
    """The years that lie more than 20 years from the bulk of the others, which is to hold three times as many."""
    known = np.sort(np.array(years, dtype=np.int64))
    parts = np.split(known, np.flatnonzero(np.diff(known) > LONGEST_PAUSE_YEARS) + 1)
    most = max(parts, key=len)
    few = most.size < 3 * (known.size - most.size)
    return frozenset() if few else frozenset(known.tolist()) - frozenset(most.tolist())


def too_far(day: dt.date | int) -> str:
    """What is said of a day or season that lies alone."""
    return f"{day} lies more than {LONGEST_PAUSE_YEARS} years from all others; {overridden_by('dates')}"
