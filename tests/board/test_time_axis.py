"""Dates to places."""

from __future__ import annotations

import datetime as dt

import pytest

from service.board.time_axis import TimeAxis

TODAY = dt.date(2026, 5, 20)


def test_a_day_is_a_stretch_of_the_width() -> None:
    axis = TimeAxis(dt.date(2026, 6, 1), dt.date(2026, 6, 10))
    assert axis.morning(dt.date(2026, 6, 1)) == 0
    assert axis.evening(dt.date(2026, 6, 10)) == 100
    assert axis.morning(dt.date(2026, 6, 3)) == pytest.approx(20.0)
    assert axis.noon(dt.date(2026, 6, 3)) == pytest.approx(25.0)
    assert axis.evening(dt.date(2026, 6, 3)) == pytest.approx(30.0)


@pytest.mark.parametrize(
    ("day", "first", "last"),
    [
        (TODAY, dt.date(2026, 5, 17), dt.date(2026, 6, 13)),  # near: shown
        (dt.date(2026, 11, 25), dt.date(2026, 5, 29), dt.date(2026, 6, 13)),  # far: would squeeze the bars
    ],
)
def test_today_is_shown_where_it_is_near(day: dt.date, first: dt.date, last: dt.date) -> None:
    axis = TimeAxis.around([dt.date(2026, 6, 10), dt.date(2026, 6, 1)], today=day)
    assert axis == TimeAxis(first, last)
    assert axis.shows(day) == (day == TODAY)


def test_without_days_there_is_no_axis() -> None:
    assert TimeAxis.around([], today=TODAY) is None


@pytest.mark.parametrize("days", [5, 20, 60, 200])
def test_ticks_are_mondays_that_stand_apart(days: int) -> None:
    axis = TimeAxis(TODAY, TODAY + dt.timedelta(days=days))
    ticks = axis.ticks()
    assert len(ticks) <= 6
    assert all(tick.date.weekday() == 0 and 0 <= tick.x <= 92 for tick in ticks)
    if days >= 20:
        assert len(ticks) >= 2
