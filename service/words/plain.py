"""Dates, shares and names as a grower reads them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from models.vineyard.reach import NamedBlock

_MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip  # strftime("%B") would follow the machine's locale


def in_words(day: dt.date) -> str:
    """A date as in "9 June"."""
    return f"{day.day} {_MONTHS[day.month - 1]}"


def from_to(first: dt.date, last: dt.date) -> str:
    """A span of dates as in "from 9 June to 12 June"."""
    return f"on {in_words(first)}" if first == last else f"from {in_words(first)} to {in_words(last)}"


def short_month(day: dt.date) -> str:
    """The month of a date as in "Jun"."""
    return _MONTHS[day.month - 1][:3]


def short_date(day: dt.date) -> str:
    """A date as in "9 Jun"."""
    return f"{day.day} {short_month(day)}"


def short_span(first: dt.date, last: dt.date) -> str:
    """A span of dates as in "9 to 12 Jun", "29 May to 2 Jun"."""
    if first == last:
        return short_date(last)
    opening = str(first.day) if (first.year, first.month) == (last.year, last.month) else short_date(first)
    return f"{opening} to {short_date(last)}"


def date_and_interval(median: dt.date, low: dt.date | None, high: dt.date | None) -> str:
    """A date and its interval as a picture has room for it: "28 May, 26 to 30"."""
    span = interval_words(median, low, high)
    return f"{short_date(median)}, {span}" if span else short_date(median)


def interval_words(median: dt.date, low: dt.date | None, high: dt.date | None) -> str:
    """What stands behind a date as its interval: "26 to 30" where all is in one month, else "29 May to 2 Jun"."""
    if low is None or high is None:
        return ""
    alike = (low.year, low.month) == (high.year, high.month) == (median.year, median.month)
    return f"{low.day} to {high.day}" if alike else short_span(low, high)


def day_count(days: int) -> str:
    """A number of days as in "1 day", "4 days"."""
    return f"{days} day" if days == 1 else f"{days} days"


def percent(share: float) -> str:
    """A share as in "22 %"; the ends are not rounded to none and all."""
    if 1e-9 < share < 0.01:
        return "under 1 %"
    if 0.99 < share < 1.0 - 1e-9:
        return "over 99 %"
    return f"{100 * share:.0f} %"


def block_name(block: NamedBlock) -> str:
    """A block as in "block b7 (Tinderling)"."""
    return f"block {block.key} ({block.cultivar})"


def listed(names: Sequence[str]) -> str:
    """Names as in "a, b and c"."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def sentence(text: str) -> str:
    """With a capital first letter; the rest stays as it is."""
    return text[:1].upper() + text[1:]
