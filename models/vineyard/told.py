"""What a day's forecast told of a vineyard, in short; and what is news in a later one."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from models.bloom.forecast import Forecast, Status
from models.vineyard.block_pollination import BlockPollination
from models.vineyard.pollen_warnings import WarningCode, WarningLevel

# A median that moved by less is no news: a draw more or less moves it by one. Our convention. [day]
NEWS_DAYS = 2
# Weather that ends so many days before the day of the forecast is stale. Our convention. [day]
STALE_DAYS = 3

Span = tuple[dt.date, dt.date]


@dataclass(frozen=True)
class ToldStage:
    """When a block was told to reach a stage; None where the season may end first."""

    status: Status
    median: dt.date | None
    low: dt.date | None
    high: dt.date | None


@dataclass(frozen=True)
class ToldWarning:
    """One warning about a block's pollen, its chance, and the days that it names."""

    level: WarningLevel
    chance: float
    spans: tuple[Span, ...] = ()
    past: bool = False


Stages = Mapping[tuple[str, str], ToldStage]
Warnings = Mapping[tuple[str, WarningCode], ToldWarning]


@dataclass(frozen=True)
class Told:
    """What was told on a day.

    Attributes
    ----------
    stages, warnings : mapping
        By block and stage, and by block and code.
    frost : tuple of date
        Nights of the outlook at or below the frost limit while shoots are green.
    weather_through : date or None
        The last measured day.
    announced : mapping
        The medians that were news last: what moves a day at a time becomes news once it has moved far enough.
    """

    day: dt.date
    season: int
    stages: Stages
    warnings: Warnings
    frost: tuple[dt.date, ...] = ()
    weather_through: dt.date | None = None
    announced: Mapping[tuple[str, str], dt.date] = field(default_factory=dict)

    @property
    def stale(self) -> bool:
        """Whether the weather ends too long before the day."""
        through = self.weather_through
        return through is not None and (self.day - through).days > STALE_DAYS


@dataclass(frozen=True)
class MedianMoved:
    """A stage is expected so many days later (earlier, where negative) than was announced."""

    block: str
    stage: str
    before: dt.date
    now: dt.date


@dataclass(frozen=True)
class StageSeen:
    """A stage was seen, or is told for the first time to have come."""

    block: str
    stage: str
    day: dt.date


@dataclass(frozen=True)
class WarningNew:
    """A warning that was not there."""

    block: str
    code: WarningCode
    level: WarningLevel
    chance: float
    spans: tuple[Span, ...]


@dataclass(frozen=True)
class WarningLevelChanged:
    """A warning that became more, or less, urgent."""

    block: str
    code: WarningCode
    level: WarningLevel
    chance: float


@dataclass(frozen=True)
class WarningGone:
    """A warning that is there no more; ``over``: its days have passed."""

    block: str
    code: WarningCode
    over: bool = False


@dataclass(frozen=True)
class FrostAhead:
    """Nights of frost in the outlook that were not told."""

    nights: tuple[dt.date, ...]


@dataclass(frozen=True)
class WeatherStale:
    """The measured temperatures have not gone on."""

    through: dt.date


@dataclass(frozen=True)
class NewSeason:
    """The first day that is told of a season."""

    season: int


News = (
    MedianMoved
    | StageSeen
    | WarningNew
    | WarningLevelChanged
    | WarningGone
    | FrostAhead
    | WeatherStale
    | NewSeason
)


def told_of(
    found: Forecast, pollen: tuple[BlockPollination, ...], *, frost: tuple[dt.date, ...] = ()
) -> Told:
    """A day's answers in short.

    Parameters
    ----------
    found : Forecast
    pollen : tuple of BlockPollination
        From its draws.
    frost : tuple of date
        As of `models.vineyard.frost.frost_in_outlook`.
    """
    stages = {
        (block.block, stage): ToldStage(each.status, each.median, each.low, each.high)
        for block in found.blocks
        for stage, each in block.stages.items()
    }
    warnings: dict[tuple[str, WarningCode], ToldWarning] = {}
    for block in pollen:
        for warning in block.warnings:  # the worst first
            told = ToldWarning(warning.level, round(warning.chance, 3), warning.spans, warning.past)
            warnings.setdefault((block.block, warning.code), told)
    return Told(found.as_of, found.season, stages, warnings, frost, found.traces.temperatures_through)


def news_between(before: Told | None, now: Told) -> tuple[tuple[News, ...], Told]:
    """What is news, and ``now`` with what has been announced after it.

    Nothing is news of a day that changed nothing; what moves slowly is news once it has moved ``NEWS_DAYS``.
    Without a day before, or with one of another season, all warnings and nights of frost are new.
    """
    news: list[News] = []
    if before is None or before.season != now.season:
        news.append(NewSeason(now.season))
        before = Told(now.day, now.season, {}, {}, weather_through=now.day)
    announced = {
        **{key: told.median for key, told in before.stages.items() if told.median},
        **before.announced,
    }
    for key, told in now.stages.items():
        if told.median is None:
            announced.pop(key, None)
            continue
        was = before.stages.get(key)
        said = announced.get(key)
        if said is not None and abs((told.median - said).days) >= NEWS_DAYS:
            news.append(MedianMoved(*key, said, told.median))
            said = None
        elif was is not None and told.status == "observed" != was.status:
            news.append(StageSeen(*key, told.median))
            said = None
        announced[key] = told.median if said is None else said
    announced = {key: day for key, day in announced.items() if key in now.stages}
    news += _of_warnings(before.warnings, now)
    nights = tuple(night for night in now.frost if night not in before.frost)
    if nights:
        news.append(FrostAhead(nights))
    if now.stale and not before.stale and now.weather_through is not None:
        news.append(WeatherStale(now.weather_through))
    return tuple(news), replace(now, announced=announced)


def _of_warnings(before: Warnings, now: Told) -> Iterator[News]:
    for key, warning in now.warnings.items():
        was = before.get(key)
        if warning.past:
            if was is not None and not was.past:
                yield WarningGone(*key, over=True)
        elif was is None or was.past:
            yield WarningNew(*key, warning.level, warning.chance, warning.spans)
        elif was.level != warning.level:
            yield WarningLevelChanged(*key, warning.level, warning.chance)
    for key, was in before.items():
        if key not in now.warnings and not was.past:
            yield WarningGone(*key)
