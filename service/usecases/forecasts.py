"""Forecast a vineyard's season."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from models.bloom.forecast import DRAWS, BlockForecast, Forecast, forecast
from models.bloom.frosted_bloom import flowers_left
from models.errors import NotEnoughData, Remedy
from models.records import DailyTemperatures, FrostedBlock
from models.vineyard.block_pollination import MedianInterval
from service.store.repositories import Repositories
from service.usecases.fit_documents import SavedFit
from service.usecases.fit_in_use import Behind, fit_for, what_it_misses
from service.usecases.vineyard_records import VineyardRecords, load_vineyard

AnswerBasis = Literal["own", "pooled", "group", "imported", "none"]


class Outlook(NamedTuple):
    """A weather forecast, and the day on which it was issued."""

    issued_on: dt.date
    days: DailyTemperatures


@dataclass(frozen=True, eq=False)
class VineyardForecast:
    """A vineyard's season as foreseen with one fit; ``behind`` is what the fit misses, where it is the one in use."""

    vineyard: VineyardRecords
    fit: SavedFit
    forecast: Forecast
    behind: Behind | None = None
    outlook_issued_on: dt.date | None = None

    def mark(self, block: str) -> FrostedBlock | None:
        """The season's frost mark of a block, as far as it was known by then."""
        found = self.forecast
        known = self.vineyard.site.known_on(found.as_of).frosted
        return next((mark for mark in known if (mark.block, mark.season) == (block, found.season)), None)

    def flowers_left(self, share_killed: float) -> MedianInterval:
        """Share of the flowers that such a frost has left, as far as that is known."""
        outside = (1 - self.forecast.interval) / 2
        low, median, high = flowers_left(
            share_killed, fruitfulness=np.array([outside, 0.5, 1 - outside])
        ).tolist()
        return MedianInterval(median, low, high)

    def basis(self, block: BlockForecast) -> AnswerBasis:
        """What the forecast of a block rests on; "imported" where nothing that was seen here is in the fit."""
        foreign = self.vineyard.key not in self.fit.sites
        return "imported" if foreign and block.basis in ("own", "pooled") else block.basis


def forecast_vineyard(
    vineyard: VineyardRecords,
    fit: SavedFit,
    *,
    as_of: dt.date,
    interval: float,
    outlook: Outlook | None = None,
    behind: Behind | None = None,
    draws: int = DRAWS,
) -> VineyardForecast:
    """Forecast from what was known on a day. ``behind`` is what the fit misses, where it is the one in use.

    Raises
    ------
    BadInput
        If the interval is no probability, or the season is out of the calendar's range.
    NotEnoughData
        If there is no block, no temperature before ``as_of``, or no past season to continue this one.
    """
    _check_planted(vineyard)
    known = vineyard.known_on(as_of)
    found = forecast(
        vineyard.joined_to(fit.fit),
        known.site,
        vineyard.planting.blocks,
        as_of=as_of,
        interval=interval,
        outlook=None if outlook is None else outlook.days,
        draws=draws,
    )
    used = outlook is not None and found.traces.outlook_through is not None
    return VineyardForecast(
        vineyard=vineyard,
        fit=fit,
        forecast=found,
        behind=behind,
        outlook_issued_on=outlook.issued_on if outlook is not None and used else None,
    )


def _check_planted(vineyard: VineyardRecords) -> None:
    if not vineyard.planting.blocks:
        raise NotEnoughData(f"vineyard {vineyard.key!r} has no blocks yet", remedy=Remedy.ADD_BLOCKS)


def stored_forecast(
    records: Repositories, vineyard: str, *, as_of: dt.date, fit: str | None, interval: float
) -> VineyardForecast:
    """Forecast a vineyard of the store, by default with its fit in use.

    The outlook is the latest one issued on or before ``as_of``.

    Raises
    ------
    NotFound
        If there is no such vineyard or fit.
    BadInput, NotEnoughData
        As `forecast_vineyard`, `load_vineyard` and `fit_for` do.
    """
    loaded = load_vineyard(records, vineyard)
    _check_planted(loaded)
    saved = fit_for(records, vineyard, fit)
    in_use = records.fits_in_use.get(vineyard)
    used = in_use is not None and in_use.fit == saved.id
    station = records.vineyards.get(vineyard).station
    issued = None if station is None else records.temperatures.outlook(station, as_of)
    outlook = None if issued is None else Outlook(*issued)
    return forecast_vineyard(
        loaded,
        saved,
        as_of=as_of,
        interval=interval,
        outlook=outlook,
        behind=what_it_misses(records, loaded, saved, as_of=as_of) if used else None,
    )
