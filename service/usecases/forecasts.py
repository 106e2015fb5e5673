"""Forecast a vineyard's season, and say what the forecast takes for granted."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, NamedTuple

from models.bloom.cautions import FEW_SEASONS_OF_BLOOM
from models.bloom.forecast import BlockForecast, Forecast, forecast
from models.errors import NotEnoughData
from models.heat.season import season_of
from models.records import DailyTemperatures
from models.vineyard.wording import listed
from service.store.repositories import Repositories
from service.usecases.fit_documents import SavedFit
from service.usecases.fit_in_use import Behind, fit_for, what_it_misses
from service.usecases.vineyard_records import VineyardRecords, load_vineyard

AnswerBasis = Literal["own", "pooled", "imported", "none"]


class Outlook(NamedTuple):
    """A weather forecast, and the day on which it was issued."""

    issued_on: dt.date
    days: DailyTemperatures


@dataclass(frozen=True, eq=False)
class VineyardForecast:
    """A vineyard's season as foreseen with one fit, and all that has to be borne in mind."""

    vineyard: VineyardRecords
    fit: SavedFit
    forecast: Forecast
    cautions: tuple[str, ...]
    outlook_issued_on: dt.date | None = None

    def basis(self, block: BlockForecast) -> AnswerBasis:
        """What the forecast of a block rests on; "imported" where nothing that was seen here is in the fit."""
        foreign = self.vineyard.key not in self.fit.sites
        return "imported" if foreign and block.basis != "none" else block.basis


def forecast_vineyard(
    vineyard: VineyardRecords,
    fit: SavedFit,
    *,
    as_of: dt.date,
    interval: float,
    outlook: Outlook | None = None,
    behind: Behind | None = None,
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
    frosted = known.site.frosted_in(season_of(as_of, known.site.latitude))
    found = forecast(
        fit.fit,
        known.site,
        vineyard.planting.blocks,
        as_of=as_of,
        interval=interval,
        outlook=None if outlook is None else outlook.days,
    )
    used = outlook is not None and found.traces.outlook_through is not None
    return VineyardForecast(
        vineyard=vineyard,
        fit=fit,
        forecast=found,
        cautions=(*found.cautions, *_cautions(fit, found, known.key, sorted(frosted), behind)),
        outlook_issued_on=outlook.issued_on if outlook is not None and used else None,
    )


def _check_planted(vineyard: VineyardRecords) -> None:
    if not vineyard.planting.blocks:
        raise NotEnoughData(f"vineyard {vineyard.key!r} has no blocks yet; put some, or upload a planting")


def _cautions(
    fit: SavedFit, found: Forecast, vineyard: str, frosted: list[str], behind: Behind | None
) -> Iterator[str]:
    if frosted:
        yield (
            f"Marked as frosted in {found.season}: {listed(frosted)}. Bloom there is drawn later and longer, and "
            "what is seen there does not sharpen the dates of other blocks."
        )
    if found.season in fit.fit.seasons:
        yield (
            f"The fit has seen season {found.season} itself, so these dates say little of how well it foresees; "
            "to judge that, use a fit that excludes the season."
        )
    if fit.imported:
        yield (
            "The thresholds come from another grower's fit: station, site and way of looking differ. "
            "Compare them with visits of your own."
        )
    elif vineyard not in fit.sites:
        yield (
            f"The thresholds come from vineyard {listed(list(fit.sites))}: nothing that was seen here is in the fit, "
            "and site and way of looking differ. Compare them with visits of your own."
        )
    if behind is not None and behind.rows:
        rows = f"{behind.rows} {'row' if behind.rows == 1 else 'rows'}"
        seasons = f"{behind.seasons} {'season' if behind.seasons == 1 else 'seasons'}"
        yield (
            f"Bloom log and visits have {rows} of {seasons} that the fit in use has not seen (new, changed or "
            "deleted since); fit again."
        )
    seasons_seen = dict(zip(fit.fit.cultivars, fit.fit.seasons_seen.max(axis=1), strict=True))
    few = sorted(
        {
            block.cultivar
            for block in found.blocks
            if seasons_seen.get(block.cultivar, FEW_SEASONS_OF_BLOOM) < FEW_SEASONS_OF_BLOOM
        }
    )
    if few:
        yield f"Few seasons of {', '.join(few)} are known: their thresholds lean on those of the other cultivars."
    unknown = sorted({block.cultivar for block in found.blocks if block.basis == "none"})
    if unknown:
        yield f"No forecast for {', '.join(unknown)}: the fit does not know them."


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
