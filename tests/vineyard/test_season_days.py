"""Days over draws, and how dates and shares are worded."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from models.vineyard.season_days import SeasonDays, median_day, quantile_day
from models.vineyard.wording import day_count, from_to, in_words, listed, percent, sentence


@pytest.mark.parametrize(("probability", "day"), [(0.1, 1), (0.2, 2), (0.5, 5), (0.9, 9), (1.0, 10)])
def test_a_quantile_is_the_first_day_by_which_enough_draws_have_come(probability: float, day: int) -> None:
    days = np.array([10, 2, 9, 1, 8, 3, 7, 4, 6, 5], dtype=np.float64)
    assert quantile_day(days, probability) == day


def test_the_median_is_a_day_of_a_draw_and_may_lie_after_the_season() -> None:
    assert median_day(np.array([150.0, 153.0])) == 150.0
    assert median_day(np.array([150.0, np.inf, np.inf])) == np.inf


def test_days_are_counted_from_the_start_of_the_season() -> None:
    assert SeasonDays(dt.date(2026, 1, 1)).date(0.0) == dt.date(2026, 1, 1)
    assert SeasonDays(dt.date(2025, 7, 1)).date(184.0) == dt.date(2026, 1, 1)


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
