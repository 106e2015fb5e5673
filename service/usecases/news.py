"""What is told of a vineyard day by day is kept; and what is news since."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from models.vineyard.frost import frost_in_outlook
from models.vineyard.told import News, Told, ToldStage, ToldWarning, news_between, told_of
from service.store.engine import Store
from service.store.records import ToldDay
from service.store.repositories import Repositories
from service.usecases.forecasts import VineyardForecast, stored_forecast
from service.usecases.frost import LIMIT_C
from service.usecases.pollen import pollinate

INTERVAL = 0.8
MORNING_HOUR = 5  # in the vineyard's time zone; our convention


@dataclass(frozen=True)
class NewsSince:
    """What changed between two days' answers; ``kept``: the earlier one is what was told, not computed anew."""

    before: Told | None
    kept: bool
    now: Told
    news: tuple[News, ...]


def told_on(foreseen: VineyardForecast) -> Told:
    """A day's forecast and warnings in short."""
    found = foreseen.forecast
    frost = frost_in_outlook(
        found.traces, found.draws, as_of=found.as_of, limit_c=LIMIT_C, colder_c=foreseen.vineyard.colder_c
    )
    return told_of(found, pollinate(foreseen).blocks, frost=frost)


def told_as_of(records: Repositories, vineyard: str, day: dt.date) -> Told:
    """What a day's answer is with what is stored now. Raises what `stored_forecast` raises."""
    return told_on(stored_forecast(records, vineyard, as_of=day, fit=None, interval=INTERVAL))


def kept_days(
    records: Repositories, vineyard: str, *, season: int | None = None, until: dt.date | None = None
) -> tuple[Told, ...]:
    """What was told, by day. Raises NotFound (vineyard)."""
    return tuple(read_told(each) for each in records.told_days.all(vineyard, season=season, until=until))


def news_since(records: Repositories, vineyard: str, since: dt.date, *, today: dt.date) -> NewsSince:
    """What changed from what was last told on or before a day to today's answer.

    Where nothing was kept, that day's answer is computed anew; with the log and the fit of today it may differ from
    what was seen then.

    Raises
    ------
    NotFound, BadInput, NotEnoughData
        As `stored_forecast` does.
    """
    kept = kept_days(records, vineyard, until=since)
    before = kept[-1] if kept else told_as_of(records, vineyard, since)
    now = told_as_of(records, vineyard, today)
    news, told = news_between(Told(**{**vars(before), "announced": {}}), now)
    return NewsSince(before, bool(kept), told, news)


def tell(records: Repositories, vineyard: str, *, today: dt.date, now: dt.datetime) -> NewsSince:
    """Keep today's answer as told, with what is news in it since the last one that was kept before today.

    Raises
    ------
    NotFound, BadInput, NotEnoughData
        As `stored_forecast` does.
    """
    told = prepare(records, vineyard, today=today)
    keep(records, vineyard, told.now, now=now)
    return told


def prepare(records: Repositories, vineyard: str, *, today: dt.date) -> NewsSince:
    """As `tell`, and nothing is kept yet."""
    kept = kept_days(records, vineyard, until=today - dt.timedelta(days=1))
    before = kept[-1] if kept else None
    news, told = news_between(before, told_as_of(records, vineyard, today))
    return NewsSince(before, bool(kept), told, news)


def keep(records: Repositories, vineyard: str, told: Told, *, now: dt.datetime) -> None:
    """Keep a day's answer as told. Raises NotFound (vineyard)."""
    records.told_days.put(vineyard, ToldDay(told.day, told.season, now, document_of(told)))


def due(store: Store, grower: str, *, now: dt.datetime) -> tuple[tuple[str, dt.date], ...]:
    """The vineyards whose morning has come and that were told nothing yet today; each with its today."""
    with store.transaction(grower, read_only=True) as records:
        found = []
        for vineyard in records.vineyards.all():
            local = now.astimezone(None if vineyard.timezone is None else ZoneInfo(vineyard.timezone))
            told = {each.day for each in records.told_days.all(vineyard.key)}
            if local.hour >= MORNING_HOUR and local.date() not in told:
                found.append((vineyard.key, local.date()))
    return tuple(found)


def document_of(told: Told) -> dict[str, Any]:
    """A day's answer as plain JSON."""
    stages: dict[str, dict[str, list[Any]]] = {}
    for (block, stage), each in told.stages.items():
        days = [_text(day) for day in (each.median, each.low, each.high)]
        stages.setdefault(block, {})[stage] = [each.status, *days]
    warnings: dict[str, dict[str, Any]] = {}
    for (block, code), warning in told.warnings.items():
        warnings.setdefault(block, {})[code] = {
            "level": warning.level,
            "chance": warning.chance,
            "spans": [[_text(day) for day in span] for span in warning.spans],
            "past": warning.past,
        }
    announced: dict[str, dict[str, str]] = {}
    for (block, stage), day in told.announced.items():
        announced.setdefault(block, {})[stage] = day.isoformat()
    return {
        "stages": stages,
        "warnings": warnings,
        "frost": [_text(night) for night in told.frost],
        "weather_through": _text(told.weather_through),
        "announced": announced,
    }


def read_told(kept: ToldDay) -> Told:
    """The answer that `document_of` made."""
    content = kept.content
    return Told(
        day=kept.day,
        season=kept.season,
        stages={
            (block, stage): ToldStage(status, *map(_day, days))
            for block, stages in content["stages"].items()
            for stage, (status, *days) in stages.items()
        },
        warnings={
            (block, code): _warning(told)
            for block, warnings in content["warnings"].items()
            for code, told in warnings.items()
        },
        frost=tuple(dt.date.fromisoformat(night) for night in content["frost"]),
        weather_through=_day(content["weather_through"]),
        announced={
            (block, stage): dt.date.fromisoformat(day)
            for block, stages in content["announced"].items()
            for stage, day in stages.items()
        },
    )


def _warning(told: Mapping[str, Any]) -> ToldWarning:
    spans = tuple(
        (dt.date.fromisoformat(first), dt.date.fromisoformat(last)) for first, last in told["spans"]
    )
    return ToldWarning(told["level"], told["chance"], spans, told["past"])


def _text(day: dt.date | None) -> str | None:
    return None if day is None else day.isoformat()


def _day(text: str | None) -> dt.date | None:
    return None if text is None else dt.date.fromisoformat(text)
