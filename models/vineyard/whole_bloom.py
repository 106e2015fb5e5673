"""When any block of a vineyard is in bloom: the days on which bees are in the rows."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from models.errors import NotEnoughData
from models.vineyard.season_days import SeasonDays, median_day, quantile_day

if TYPE_CHECKING:
    import xarray as xr

# Days less likely than this to see any bloom are not listed. Our convention.
LEAST_CHANCE = 0.05


@dataclass(frozen=True)
class DayRange:
    """A date, and the days between which it falls in so many draws."""

    median: dt.date
    low: dt.date
    high: dt.date


@dataclass(frozen=True)
class BloomDay:
    """A day, and the chance that any block is in bloom on it."""

    date: dt.date
    chance: float


@dataclass(frozen=True)
class WholeBloom:
    """First bloom start and last bloom end of all blocks, and the chance of bloom by day."""

    first: DayRange
    last: DayRange
    days: tuple[BloomDay, ...]


def whole_bloom(draws: xr.Dataset, *, interval: float) -> WholeBloom:
    """Bloom of a vineyard as a whole, from joint draws of all its blocks.

    Parameters
    ----------
    draws : Dataset
        As of `models.bloom.forecast.Forecast`.
    interval : float

    Raises
    ------
    NotEnoughData
        If no block's bloom start and end are forecast.
    """
    day = draws["day"].reindex(stage=["bloom_start", "bloom_end"]).transpose("stage", "draw", "block").values
    known = np.isfinite(day[0]).any(axis=0) & np.isfinite(day[1]).any(axis=0)
    start = np.where(np.isnan(day[0]), np.inf, day[0])[:, known]
    end = np.where(np.isnan(day[1]), -np.inf, day[1])[:, known]
    whole = np.isfinite(start).any(axis=1) & np.isfinite(end).any(axis=1) if known.any() else known[:0]
    if not whole.any():
        raise NotEnoughData("no block's bloom start and end are forecast")
    start, end = start[whole], end[whole]
    season = SeasonDays(dt.date.fromisoformat(draws.attrs["season_start"]))
    first, last = start.min(axis=1), end.max(axis=1)
    days = []
    for each in np.arange(first.min(), last.max() + 1):
        chance = float(((start <= each) & (each <= end)).any(axis=1).mean())
        if chance >= LEAST_CHANCE:
            days.append(BloomDay(season.date(each), chance))

    def summed_up(found: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> DayRange:
        tails = ((1 - interval) / 2, (1 + interval) / 2)
        low, high = (season.date(quantile_day(found, tail)) for tail in tails)
        return DayRange(season.date(median_day(found)), low, high)

    return WholeBloom(summed_up(first), summed_up(last), tuple(days))
