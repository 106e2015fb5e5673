"""Dates, shares, lengths and names as a grower reads them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from models.units import feet_from_metres
from models.vineyard.reach import NamedBlock
from service.words.language import N_, _, language, ngettext, reading

MONTHS = (
    N_("January"), N_("February"), N_("March"), N_("April"), N_("May"), N_("June"),
    N_("July"), N_("August"), N_("September"), N_("October"), N_("November"), N_("December"),
)  # fmt: skip  # strftime("%B") would follow the machine's locale
WEEKDAYS = (
    N_("Monday"), N_("Tuesday"), N_("Wednesday"), N_("Thursday"), N_("Friday"), N_("Saturday"), N_("Sunday"),
)  # fmt: skip


def month_first() -> bool:
    """Whether dates are told as in "June 9"; a choice that only English has."""
    return reading().month_first and language() == "en"


def in_words(day: dt.date) -> str:
    """A date as in "9 June"."""
    month = _(MONTHS[day.month - 1])
    return f"{month} {day.day}" if month_first() else _("{day} {month}", day=day.day, month=month)


def with_year(day: dt.date) -> str:
    """A date as in "9 June 2026"."""
    return (
        f"{in_words(day)}, {day.year}"
        if month_first()
        else _("{date} {year}", date=in_words(day), year=day.year)
    )


def long_date(day: dt.date) -> str:
    """A date as in "Tuesday 9 June 2026"."""
    return f"{weekday_name(day)}{',' if month_first() else ''} {with_year(day)}"


def weekday_name(day: dt.date) -> str:
    """The weekday of a date."""
    return _(WEEKDAYS[day.weekday()])


def from_to(first: dt.date, last: dt.date) -> str:
    """A span of dates as in "from 9 June to 12 June"."""
    if first == last:
        return _("on {date}", date=in_words(first))
    return _("from {first} to {last}", first=in_words(first), last=in_words(last))


def exact_date(day: dt.date) -> str:
    """A date with its year: on a page as in "9 June 2026", for programs and terminals as ISO 8601 writes it."""
    return with_year(day) if reading().on_page else day.isoformat()


def exact_from_to(first: dt.date, last: dt.date) -> str:
    """A span of such dates."""
    if first == last:
        return _("on {date}", date=exact_date(first))
    return _("from {first} to {last}", first=exact_date(first), last=exact_date(last))


def short_month(day: dt.date) -> str:
    """The month of a date as in "Jun"."""
    return _(MONTHS[day.month - 1])[:3]


def short_date(day: dt.date) -> str:
    """A date as in "9 Jun"."""
    return f"{short_month(day)} {day.day}" if month_first() else f"{day.day} {short_month(day)}"


def short_day(day: dt.date) -> str:
    """A day as in "Sun 24 May"."""
    return f"{weekday_name(day)[:3]} {short_date(day)}"


def to(first: object, last: object) -> str:
    """Two ends as in "9 to 12"."""
    return _("{first} to {last}", first=first, last=last)


def short_span(first: dt.date, last: dt.date) -> str:
    """A span of dates as in "9 to 12 Jun", "29 May to 2 Jun"."""
    if first == last:
        return short_date(last)
    if (first.year, first.month) != (last.year, last.month):
        return to(short_date(first), short_date(last))
    return to(short_date(first), last.day) if month_first() else to(first.day, short_date(last))


def date_and_interval(median: dt.date, low: dt.date | None, high: dt.date | None) -> str:
    """A date and its interval as a picture has room for it: "28 May, 26 to 30"."""
    span = interval_words(median, low, high)
    return f"{short_date(median)}, {span}" if span else short_date(median)


def interval_words(median: dt.date, low: dt.date | None, high: dt.date | None) -> str:
    """What stands behind a date as its interval: "26 to 30" where all is in one month, else "29 May to 2 Jun"."""
    if low is None or high is None:
        return ""
    alike = (low.year, low.month) == (high.year, high.month) == (median.year, median.month)
    return to(low.day, high.day) if alike else short_span(low, high)


def day_count(days: int) -> str:
    """A number of days as in "1 day", "4 days"."""
    return ngettext("{count} day", "{count} days", days)


def percent(share: float) -> str:
    """A share as in "22 %"; the ends are not rounded to none and all."""
    if 1e-9 < share < 0.01:
        return _("under 1 %")
    if 0.99 < share < 1.0 - 1e-9:
        return _("over 99 %")
    return f"{100 * share:.0f} %"


def length_words(length_m: float) -> str:
    """A length as in "15.24 m (50 ft)"; in feet alone where they are chosen."""
    feet = f"{feet_from_metres(length_m):.0f} ft"
    return feet if reading().us else f"{length_m:g} m ({feet})"


def block_name(block: NamedBlock) -> str:
    """A block as in "block b7 (Tinderling)"."""
    return _("block {block} ({cultivar})", block=block.key, cultivar=block.cultivar)


def listed(names: Sequence[str]) -> str:
    """Names as in "a, b and c"."""
    return names[0] if len(names) == 1 else _("{some} and {last}", some=", ".join(names[:-1]), last=names[-1])


def sentence(text: str) -> str:
    """With a capital first letter; the rest stays as it is."""
    return text[:1].upper() + text[1:]
