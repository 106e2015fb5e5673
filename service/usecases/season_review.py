"""A season looked back on, and seasons side by side."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from models.errors import NotEnoughData
from models.heat.accumulate import accumulate_seasons
from models.heat.season import season_of, season_window
from models.vineyard.fruit_set import clusters_counted, set_share
from models.vineyard.season_review import SeasonReview, came_of, season_review
from models.vineyard.told import Told
from service.store.repositories import Repositories
from service.usecases.fit_documents import SavedFit
from service.usecases.fit_in_use import fit_for
from service.usecases.forecasts import forecast_vineyard
from service.usecases.fruit_set import cover_of_season
from service.usecases.news import INTERVAL, kept_days, told_on
from service.usecases.vineyard_records import VineyardRecords, load_vineyard

AHEAD = dt.timedelta(days=42)
A_WEEK = dt.timedelta(days=7)
SEASONS_SHOWN = 5
SIDE_BY_SIDE = ("bloom_start", "full_bloom", "bloom_end", "veraison", "harvest")


@dataclass(frozen=True)
class StageSpan:
    """The first and the last block that reached a stage, and heat at the first. [°C·day]"""

    stage: str
    first: dt.date
    last: dt.date
    heat: float | None


@dataclass(frozen=True)
class SeasonBeside:
    """One season beside the others: dates, mean cover of the pistillate blocks, and set of all clusters counted."""

    season: int
    stages: tuple[StageSpan, ...]
    cover: float | None
    set: float | None


@dataclass(frozen=True)
class VineyardReview:
    """A vineyard's season.

    ``kept``: it rests on what was told; else on weekly answers that were computed anew. ``season_in_fit``: the fit has
    learned from this season, so what is computed anew looks better than it would have been.
    """

    fit: SavedFit
    review: SeasonReview
    kept: bool
    season_in_fit: bool
    beside: tuple[SeasonBeside, ...]


def review_season(
    records: Repositories, vineyard: str, *, season: int | None, today: dt.date
) -> VineyardReview:
    """Look back on a season, by default the one of today.

    Raises
    ------
    NotFound, BadInput, NotEnoughData
        As `load_vineyard`, `fit_for` and `forecast_vineyard` do; NotEnoughData too, where nothing of the season is
        known.
    """
    loaded = load_vineyard(records, vineyard)
    saved = fit_for(records, vineyard, None)
    latitude = loaded.site.latitude
    year = season_of(today, latitude) if season is None else season
    window = season_window(year, latitude, saved.fit.rule.accumulate_from)
    if window.start >= today:
        raise NotEnoughData(f"season {year} has not begun")
    came = came_of(loaded.site.seen, year)
    kept = kept_days(records, vineyard, season=year)
    told = kept or tuple(_told(loaded, saved, day) for day in _weeks(sorted(came.values())))
    after = _told(loaded, saved, min(window.end - dt.timedelta(days=1), today))
    return VineyardReview(
        saved,
        season_review(told, after, came),
        bool(kept),
        year in saved.fit.seasons,
        _side_by_side(records, loaded, saved, year),
    )


def _told(loaded: VineyardRecords, saved: SavedFit, day: dt.date) -> Told:
    return told_on(forecast_vineyard(loaded, saved, as_of=day, interval=INTERVAL))


def _weeks(came: list[dt.date]) -> list[dt.date]:
    """Every week from six weeks before the first date to the last."""
    if not came:
        return []
    days = [came[0] - AHEAD]
    while days[-1] + A_WEEK < came[-1]:
        days.append(days[-1] + A_WEEK)
    return days


def _side_by_side(
    records: Repositories, loaded: VineyardRecords, saved: SavedFit, newest: int
) -> tuple[SeasonBeside, ...]:
    """The last seasons that were seen, through the newest, which stands first."""
    site = loaded.site
    seen = sorted({each.season for each in site.seen if each.season <= newest}, reverse=True)[:SEASONS_SHOWN]
    heats = accumulate_seasons(site.temperatures, saved.fit.rule, seen, site.latitude)
    clusters, _ = clusters_counted([each.count for each in records.set_counts.all(loaded.key)], site.latitude)
    found = []
    for season in seen:
        came = came_of(site.seen, season)
        spans = []
        for stage in SIDE_BY_SIDE:
            days = sorted(day for (_, each), day in came.items() if each == stage)
            if days:
                heat = float(heats[season].accumulated[heats[season].window.day_index(days[0])])
                spans.append(StageSpan(stage, days[0], days[-1], heat if np.isfinite(heat) else None))
        counted = [each for each in clusters if each.season == season]
        found.append(
            SeasonBeside(
                season,
                tuple(spans),
                cover_of_season(saved.fit, loaded, season),
                set_share(counted).share if counted else None,
            )
        )
    return tuple(found)
