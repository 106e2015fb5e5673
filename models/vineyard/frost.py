"""The chance of a frost night around bloom, and what such a night does to the forecast."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from models.bloom.traces import Traces
from models.stages import BLOOM_STAGES
from models.units import FloatArray
from models.vineyard.synchrony import BoolArray

if TYPE_CHECKING:
    import xarray as xr

IntArray = NDArray[np.int64]

# A limit and a minimum that are equal in °F need not be so to the last digit once they are converted. [°C]
SAME_C = 1e-6


@dataclass(frozen=True)
class FrostNight:
    """A measured night at or below the limit. [°C]"""

    date: dt.date
    tmin_c: float


@dataclass(frozen=True)
class BlockFrost:
    """Frost of one block.

    Attributes
    ----------
    chance : float or None
        Of at least one night at or below the limit from budbreak until bloom end, of those still to come. None
        where the end of the block's bloom is not forecast: nights after it are no matter.
    chance_in_bloom : float or None
        The same from bloom start.
    lacking : tuple of str
        Bloom stages that no block has a forecast of, as the fit lacks them.
    from_budbreak : bool
        Whether budbreak is forecast; if not, the chance counts from ``as_of``.
    frost_nights : tuple of FrostNight
        Measured nights at or below the limit since the median of budbreak; empty where budbreak is
        not forecast.
    """

    block: str
    chance: float | None
    chance_in_bloom: float | None
    from_budbreak: bool
    frost_nights: tuple[FrostNight, ...]
    lacking: tuple[str, ...] = ()


def frost_chance(cold: BoolArray, trace_of: IntArray, *, first: FloatArray, last: FloatArray) -> float:
    """Share of draws with at least one cold night from ``first`` to ``last``, both included.

    Parameters
    ----------
    cold : ndarray of bool, shape (trace, day)
        Nights at or below the limit, by days since the start of the season.
    trace_of : ndarray of int, shape (draw,)
        The trace that each draw follows.
    first, last : ndarray, shape (draw,)
        Days. A last day that lies after the season (NaN) is the season's last; a first day that does (NaN)
        leaves no night. [day]
    """
    days = cold.shape[1]
    nights_before = np.concatenate([np.zeros((len(cold), 1), dtype=np.int64), cold.cumsum(axis=1)], axis=1)
    start = np.clip(np.where(np.isnan(first), days, first), 0, days).astype(np.int64)
    after = np.clip(np.where(np.isnan(last), days, last + 1), start, days).astype(np.int64)
    return float(np.mean(nights_before[trace_of, after] > nights_before[trace_of, start]))


def frost(
    traces: Traces, draws: xr.Dataset, *, as_of: dt.date, limit_c: float = 0.0
) -> tuple[BlockFrost, ...]:
    """Chance of a frost night until each block's bloom end, and those that came since its budbreak.

    Parameters
    ----------
    traces : Traces
        Of the forecast.
    draws : Dataset
        ``day(draw, block, stage)`` and ``trace_season(draw)`` of the same forecast. [day]
    as_of : date
        Nights of this day and later are still to come.
    limit_c : float
        Highest minimum that counts as frost. [°C]

    Returns
    -------
    tuple of BlockFrost
        In the draws' order of blocks.
    """
    cold = traces.tmin_c <= limit_c + SAME_C
    trace_of = np.searchsorted(np.array(traces.seasons), draws["trace_season"].values).astype(np.int64)
    today = float(traces.window.day_index(as_of))
    past = _measured_frost(traces, cold[0], as_of)
    stages = ["budbreak", *BLOOM_STAGES]
    lacking = tuple(stage for stage in BLOOM_STAGES if stage not in draws["stage"].values)
    days = draws["day"].reindex(stage=stages).transpose("block", "stage", "draw")
    found = []
    for key, (budbreak, start, _, end) in zip(days["block"].values.tolist(), days.values, strict=True):
        knows_budbreak = bool(np.isfinite(budbreak).any())
        chance = in_bloom = None
        # bloom that does not end within the season stays at risk until its last day
        knows_end = "bloom_end" not in lacking and bool(np.isfinite([start, end]).any())
        if knows_end:
            shoots_from = np.maximum(budbreak, today) if knows_budbreak else np.full(end.shape, today)
            chance = frost_chance(cold, trace_of, first=shoots_from, last=end)
        if knows_end and np.isfinite(start).any():
            in_bloom = frost_chance(cold, trace_of, first=np.maximum(start, today), last=end)
        nights = [
            FrostNight(traces.window.date_at(day), float(traces.tmin_c[0, day]))
            for day in past
            if np.mean(budbreak <= day) >= 0.5
        ]
        found.append(BlockFrost(key, chance, in_bloom, knows_budbreak, tuple(nights), lacking))
    return tuple(found)


def frost_in_outlook(
    traces: Traces, draws: xr.Dataset, *, as_of: dt.date, limit_c: float = 0.0
) -> tuple[dt.date, ...]:
    """Nights of the outlook at or below the limit, from budbreak to bloom end of any block in half the draws or more.

    Parameters as of `frost`. Without a forecast of budbreak shoots count as green, without one of bloom end as in
    bloom.
    """
    through = traces.outlook_through
    if through is None:
        return ()
    days = draws["day"].reindex(stage=["budbreak", "bloom_end"]).transpose("stage", "block", "draw").values
    first, last = np.where(np.isnan(days[0]), -np.inf, days[0]), np.where(np.isnan(days[1]), np.inf, days[1])
    found = []
    for day in range(traces.window.day_index(as_of), traces.window.day_index(through) + 1):
        green = ((first <= day) & (day <= last)).mean(axis=-1)
        if traces.tmin_c[0, day] <= limit_c + SAME_C and np.any(green >= 0.5):
            found.append(traces.window.date_at(day))
    return tuple(found)


def _measured_frost(traces: Traces, cold: BoolArray, as_of: dt.date) -> list[int]:
    """Days before ``as_of`` with a measured minimum at or below the limit; filled gaps are no measurement."""
    known = min(traces.known_days, traces.window.day_index(as_of))
    days = np.flatnonzero(cold[: max(known, 0)]).tolist()
    dates = [traces.window.date_at(day) for day in days]
    return [
        day
        for day, date in zip(days, dates, strict=True)
        if not any(gap.first <= date <= gap.last for gap in traces.filled)
    ]
