"""How a sender wants a file to be read, and the words that override a check of plausibility."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal

OnBadRows = Literal["reject", "skip"]
FileName = Literal["planting", "temperatures", "outlook", "bloom_log", "visits"]
Confirm = Literal["units", "dates", "latitude"]
Confirmed = Collection[Confirm]


@dataclass(frozen=True, kw_only=True)
class ReadOptions:
    """What is told beside a file.

    Attributes
    ----------
    date_format : str or None
        In the notation of strptime; None for ISO dates.
    on_bad_rows : "reject" or "skip"
        Whether a row that can't be read refuses the file.
    confirm : collection of words
        What is right as it is, however it looks.
    sent_on : date or None
        Later days than the next cannot have been measured or seen; None: they may be there.
    checked_every_days : int or None
        How often the blocks of a bloom log were looked at, where the log does not say it; None: every day. [day]
    """

    date_format: str | None = None
    on_bad_rows: OnBadRows = "reject"
    confirm: Confirmed = ()
    sent_on: dt.date | None = None
    checked_every_days: int | None = None


AS_THEY_ARE = ReadOptions()


def overridden_by(word: Confirm) -> str:
    """What a refusal says of the way past it."""
    return f"if it is right all the same, send it with confirm={word}"
