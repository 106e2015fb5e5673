"""The fit that a vineyard's answers rest on, and what its bloom log knows beyond it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

from models.errors import BadInput, NotEnoughData, Remedy
from models.heat.season import season_of
from service.store.records import FitInUse
from service.store.repositories import Repositories
from service.usecases.fit_documents import SavedFit
from service.usecases.fits import DEFAULT_STAGES, get_fit
from service.usecases.vineyard_records import VineyardRecords, load_vineyard


class NoFitInUse(NotEnoughData):
    """A vineyard has no fit in use, and none was named."""

    def __init__(self, vineyard: str) -> None:
        super().__init__(f"vineyard {vineyard!r} has no fit in use", remedy=Remedy.USE_FIT)
        self.vineyard = vineyard


@dataclass(frozen=True)
class Behind:
    """Dates and visits of past seasons that a fit does not know as they are, and of how many seasons."""

    rows: int
    seasons: int


def fit_for(records: Repositories, vineyard: str, id: str | None) -> SavedFit:
    """The fit that is named, or the vineyard's fit in use.

    Raises
    ------
    NotFound
        If there is no such vineyard or fit.
    NoFitInUse
        If none is named and none is in use.
    """
    if id is None:
        in_use = records.fits_in_use.get(vineyard)
        if in_use is None:
            raise NoFitInUse(vineyard)
        id = in_use.fit
    return get_fit(records, id)


def vineyard_fit(records: Repositories, vineyard: str, *, as_of: dt.date) -> tuple[FitInUse | None, Behind]:
    """A vineyard's fit in use, and what was noted by a day that it does not know. Raises NotFound (vineyard)."""
    in_use = records.fits_in_use.get(vineyard)
    saved = None if in_use is None else get_fit(records, in_use.fit)
    try:
        return in_use, what_it_misses(records, load_vineyard(records, vineyard), saved, as_of=as_of)
    except (BadInput, NotEnoughData):  # without temperatures no fit can learn anything
        return in_use, Behind(0, 0)


def what_it_misses(
    records: Repositories, vineyard: VineyardRecords, saved: SavedFit | None, *, as_of: dt.date
) -> Behind:
    """What was noted by a day of past seasons that a fit does not know, or knows otherwise.

    The running season is left to its forecast, which learns from it. Of a fit that was not made for the vineyard
    that is all that was noted.

    Raises
    ------
    NotEnoughData
        If there is no temperature before that day.
    """
    site = news = vineyard.site
    if saved is not None and not saved.imported and vineyard.key in saved.vineyards:
        known = records.fits.summary(saved.id)
        left_out = [site.only(season) for season in {*saved.exclude_seasons, *saved.running_seasons}]
        news = replace(
            site,
            log=(
                *records.bloom_log.changed_since(vineyard.key, known),
                *(row for season in left_out for row in season.log),
            ),
            visits=(
                *records.visits.changed_since(vineyard.key, known),
                *(visit for season in left_out for visit in season.visits),
            ),
        )
    news = news.known_on(as_of).before(vineyard.known_on(as_of).site.running_season)
    stages = {*DEFAULT_STAGES, *(() if saved is None else saved.fit.stages)}
    dates = {
        (row.season, row.cultivar, row.block, stage)
        for row in news.log
        for stage in row.dates
        if stage in stages
    }
    visits = {
        (season_of(visit.date, site.latitude), visit.cultivar, visit.block, visit.observer, visit.date)
        for visit in news.visits
    }
    seasons = {season for season, *_ in dates} | {season for season, *_ in visits}
    return Behind(len(dates) + len(visits), len(seasons))
