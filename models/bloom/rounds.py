"""How often was looked? Dates of a log that fall on one weekday tell of a weekly round, whatever the log says."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable

from models.records import BloomLogRow

# Ours. Dates of daily looks share a weekday one time in seven: so many do it by chance in less than one log of a
# thousand. The first date of each season is free.
FEWEST_DATES, WEEKLY_SHARE = 6, 0.8
FEWEST_TWICE, TWICE_SHARE = 12, 0.95


def betrayed_round(rows: Iterable[BloomLogRow]) -> int | None:
    """After how many days the rows of a log that counts as looked at daily were looked at again, by its dates; None
    where they do not tell.

    A week where nearly all dates of a season fall on one weekday (each season on its own); half a week where nearly all
    fall on two.
    """
    days: dict[int, set[dt.date]] = {}
    for row in rows:
        if row.checked_every_days == 1:
            days.setdefault(row.season, set()).update(row.dates.values())
    weekdays = [Counter(day.weekday() for day in each) for each in days.values()]
    dates = sum(each.total() - 1 for each in weekdays)
    alike = sum(each.most_common(1)[0][1] - 1 for each in weekdays)
    if dates >= FEWEST_DATES and alike >= WEEKLY_SHARE * dates:
        return 7
    twice = [sum(count for _, count in each.most_common(2)) for each in weekdays if each.total() > 2]
    told = sum(each.total() for each in weekdays if each.total() > 2)
    if told - 2 * len(twice) >= FEWEST_TWICE and sum(twice) >= TWICE_SHARE * told:
        return 4
    return None
