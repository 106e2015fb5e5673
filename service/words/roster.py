"""Where a vineyard stands in its bloom."""

from __future__ import annotations

import datetime as dt

from service.words.errors import Reader, error_words
from service.words.language import _
from service.words.plain import in_words


def bloom_words(state: str, starts: dt.date | None, ends: dt.date | None, *, presumed: bool = False) -> str:
    """As in "in bloom until 14 June"; ``presumed`` where nobody saw it come, or end."""
    match state, starts, ends:
        case "in_bloom", _, dt.date() if presumed:
            return _("likely in bloom until {date}, by the forecast; not seen", date=in_words(ends))
        case "over", _, dt.date() if presumed:
            return _("bloom presumed over since {date}, by the forecast; not seen", date=in_words(ends))
        case "before", dt.date(), _:
            return _("before bloom, which starts on {date}", date=in_words(starts))
        case "in_bloom", _, dt.date():
            return _("in bloom until {date}", date=in_words(ends))
        case "over", _, dt.date():
            return _("bloom over since {date}", date=in_words(ends))
    return _("bloom not known")


def why_none_words(why: Exception | None, reader: Reader) -> str:
    """Why a vineyard's row tells nothing; without a reason it was not come to yet."""
    return _("it is being worked out") if why is None else error_words(why, reader)
