"""A block's forecast as a bar and as words."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from models.bloom.forecast import BlockForecast, StageForecast, Status
from models.records import Block, Cultivar, FlowerType, Visit
from service.board.bars import Bar, bar, shown_days
from service.board.time_axis import TimeAxis

BLOCK = Block("a", "lull", 0, 0)
LULL = Cultivar("lull", "Lull", FlowerType.PISTILLATE, viable_pollen=False)
AXIS = TimeAxis(dt.date(2026, 6, 1), dt.date(2026, 6, 20))  # a day is 5 % of it


def stage(status: Status, low: int | None, median: int | None, high: int | None) -> StageForecast:
    days = [None if day is None else dt.date(2026, 6, day) for day in (low, median, high)]
    return StageForecast(
        status=status, median=days[1], low=days[0], high=days[2], chance=1.0, threshold=900.0
    )


def drawn(**stages: StageForecast) -> Bar:
    return bar(BLOCK, LULL, BlockForecast("a", "lull", "own", stages), AXIS, [])


def test_the_bar_runs_from_the_morning_of_the_start_to_the_evening_of_the_end() -> None:
    made = drawn(
        bloom_start=stage("expected", 2, 3, 4),
        full_bloom=stage("expected", 5, 6, 7),
        bloom_end=stage("expected", 10, 11, 13),
    )
    assert made.drawn is not None
    assert (made.drawn.bloom.x, made.drawn.bloom.width) == pytest.approx((10.0, 45.0))
    assert [(band.x, band.width) for band in made.drawn.bands] == [
        pytest.approx((5.0, 15.0)),
        pytest.approx((45.0, 20.0)),
    ]
    assert made.drawn.full is not None
    assert made.drawn.full.x == pytest.approx(27.5)
    assert made.window == "3 June to 11 June"
    assert made.notes == ()


def test_what_is_not_simply_expected_is_said() -> None:
    made = drawn(
        bloom_start=stage("observed", 3, 3, 3),
        full_bloom=stage("overdue", 5, 6, 7),
        bloom_end=stage("overdue", 10, 11, 13),
    )
    assert made.notes == (
        "start seen 3 June",
        "full bloom and end overdue, visits say not yet later than usual",
    )
    assert made.drawn is not None
    assert [mark.x for mark in made.drawn.seen] == [pytest.approx(12.5)]


def test_what_had_come_at_the_first_look_is_not_said_to_be_seen_on_that_day() -> None:
    start = replace(stage("observed", 1, 4, 7), first_look=dt.date(2026, 6, 8))
    made = drawn(bloom_start=start, bloom_end=stage("expected", 10, 11, 13))
    assert made.notes == ("open at the first look on 8 June",)
    assert made.stages[0].said == "open at the first look on 8 June"
    assert made.drawn is not None
    assert made.drawn.seen == ()
    assert made.drawn.dates.text.startswith("4 Jun, 1 to 7")


def test_an_end_after_the_season_is_open() -> None:
    made = drawn(bloom_start=stage("expected", 2, 3, None), bloom_end=stage("unlikely", None, None, None))
    assert made.window == "3 June to after the season's end"
    assert made.drawn is not None
    assert made.drawn.bands[-1].x + made.drawn.bands[-1].width == pytest.approx(100.0)


def test_without_a_forecast_the_reason_stands_there() -> None:
    found = BlockForecast("a", "lull", "none", {}, "cultivar_not_in_fit")
    made = bar(BLOCK, LULL, found, AXIS, [])
    assert made.drawn is None
    assert made.window.startswith("no bloom of cultivar lull is in the fit, nor ")
    assert list(shown_days([found])) == []


def test_visits_outside_the_picture_are_left_out() -> None:
    seen = [
        Visit(dt.date(2026, 6, 3), "lull", "a", percent_open=12.5),
        Visit(dt.date(2026, 5, 3), "lull", "a", percent_open=0.0),
        Visit(dt.date(2026, 6, 4), "lull", "a", bbch=61),
    ]
    marks = bar(BLOCK, LULL, BlockForecast("a", "lull", "own", {}), AXIS, seen).visits
    assert [mark.x for mark in marks] == [pytest.approx(12.5), pytest.approx(17.5)]
    assert [mark.text for mark in marks] == ["3 June: 12.5 % of caps off", "4 June: BBCH 61"]
