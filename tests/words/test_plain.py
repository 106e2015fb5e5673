"""How dates, counts and shares are worded."""

from __future__ import annotations

import datetime as dt

from service.words.plain import day_count, from_to, in_words, listed, percent, sentence


def test_dates_in_words() -> None:
    assert in_words(dt.date(2026, 6, 9)) == "9 June"
    assert from_to(dt.date(2026, 5, 31), dt.date(2026, 6, 2)) == "from 31 May to 2 June"
    assert from_to(dt.date(2026, 5, 31), dt.date(2026, 5, 31)) == "on 31 May"


def test_counts_and_shares_in_words() -> None:
    assert [day_count(days) for days in (0, 1, 4)] == ["0 days", "1 day", "4 days"]
    assert [percent(share) for share in (0.0, 0.004, 0.224, 0.996, 1.0)] == [
        "0 %",
        "under 1 %",
        "22 %",
        "over 99 %",
        "100 %",
    ]
    assert [listed(["a", "b", "c"][:n]) for n in (1, 2, 3)] == ["a", "a and b", "a, b and c"]
    assert sentence("block b7 (Tinderling)") == "Block b7 (Tinderling)"
