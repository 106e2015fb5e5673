"""Where a vineyard stands in its bloom."""

from __future__ import annotations

import datetime as dt

from service.words.language import _
from service.words.plain import in_words


def bloom_words(state: str, starts: dt.date | None, ends: dt.date | None) -> str:
    """As in "in bloom until 14 June"."""
    match state, starts, ends:
        case "before", dt.date(), _:
            return _("before bloom, which starts on {date}", date=in_words(starts))
        case "in_bloom", _, dt.date():
            return _("in bloom until {date}", date=in_words(ends))
        case "over", _, dt.date():
            return _("bloom over since {date}", date=in_words(ends))
    return _("bloom not known")
