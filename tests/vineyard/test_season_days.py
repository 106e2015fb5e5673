"""Days over draws."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from models.vineyard.season_days import SeasonDays, median_day, quantile_day


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
