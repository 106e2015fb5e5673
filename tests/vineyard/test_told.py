"""News: never silent when something changed, and silent when nothing did."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from models.vineyard.pollen_warnings import WarningCode
from models.vineyard.told import (
    FrostAhead,
    MedianMoved,
    News,
    NewSeason,
    StageSeen,
    Told,
    ToldStage,
    ToldWarning,
    WarningGone,
    WarningLevelChanged,
    WarningNew,
    WeatherStale,
    news_between,
)

DAY = dt.date(2026, 5, 10)
BLOOM = dt.date(2026, 5, 28)
KEY = ("b1", "bloom_start")


def days(count: int) -> dt.timedelta:
    return dt.timedelta(days=count)


def told(day: int = 0, *, moved: int = 0, **changes: object) -> Told:
    median = BLOOM + days(moved)
    stage = ToldStage("expected", median, median - days(3), median + days(3))
    warning = ToldWarning("watch", 0.3, ((BLOOM, BLOOM + days(2)),))
    made = Told(
        DAY + days(day),
        2026,
        {KEY: stage},
        {("b1", "pollen_gap"): warning},
        weather_through=DAY + days(day - 1),
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def test_the_first_day_of_a_season_tells_its_warnings_and_no_dates() -> None:
    news, first = news_between(None, told())
    assert news == (
        NewSeason(2026),
        WarningNew("b1", "pollen_gap", "watch", 0.3, ((BLOOM, BLOOM + days(2)),)),
    )
    assert first.announced == {KEY: BLOOM}
    assert NewSeason(2026) in news_between(replace(first, season=2025), told())[0]


def test_a_day_that_changes_nothing_is_silent() -> None:
    _, first = news_between(None, told())
    assert news_between(first, told(1)) == ((), told(1, announced={KEY: BLOOM}))


def test_a_median_that_creeps_is_told_once_it_has_moved_two_days() -> None:
    _, now = news_between(None, told())
    heard = []
    for day, moved in enumerate((1, 1, 2, 3, 3, 4, 3), start=1):
        news, now = news_between(now, told(day, moved=moved))
        heard += [(day, each) for each in news]
    assert heard == [
        (3, MedianMoved(*KEY, BLOOM, BLOOM + days(2))),
        (6, MedianMoved(*KEY, BLOOM + days(2), BLOOM + days(4))),
    ]


def test_a_stage_that_is_seen_is_told_once() -> None:
    _, first = news_between(None, told())
    seen = {KEY: ToldStage("observed", BLOOM, BLOOM, BLOOM)}
    news, second = news_between(first, told(1, stages=seen))
    assert news == (StageSeen(*KEY, BLOOM),)
    assert news_between(second, told(2, stages=seen))[0] == ()


def test_warnings_come_rise_ease_pass_and_go() -> None:
    _, now = news_between(None, told())
    gap: tuple[str, WarningCode] = ("b1", "pollen_gap")
    steps: list[tuple[dict[tuple[str, WarningCode], ToldWarning], tuple[News, ...]]] = [
        ({gap: ToldWarning("act", 0.6)}, (WarningLevelChanged(*gap, "act", 0.6),)),
        ({gap: ToldWarning("act", 0.8)}, ()),
        ({gap: ToldWarning("watch", 0.3)}, (WarningLevelChanged(*gap, "watch", 0.3),)),
        ({}, (WarningGone(*gap),)),
        ({gap: ToldWarning("act", 0.9)}, (WarningNew(*gap, "act", 0.9, ()),)),
        ({gap: ToldWarning("watch", 0.9, past=True)}, (WarningGone(*gap, over=True),)),
        ({}, ()),
    ]
    for day, (warnings, expected) in enumerate(steps, start=1):
        news, now = news_between(now, told(day, warnings=warnings))
        assert news == expected


def test_frost_nights_and_weather_that_stops_are_told_once() -> None:
    _, now = news_between(None, told())
    night = DAY + days(3)
    news, now = news_between(now, told(1, frost=(night,)))
    assert news == (FrostAhead((night,)),)
    news, now = news_between(now, told(2, frost=(night, night + days(1))))
    assert news == (FrostAhead((night + days(1),)),)
    through = DAY - days(1)
    news, now = news_between(now, told(3, weather_through=through))
    assert news == (WeatherStale(through),)
    assert news_between(now, told(4, weather_through=through))[0] == ()
