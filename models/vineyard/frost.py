"""The chance of a frost night around bloom, and what such a night does to the forecast."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from models.bloom.traces import Traces
from models.errors import BadInput, Problem
from models.stages import BLOOM_STAGES
from models.units import FloatArray
from models.vineyard.synchrony import BoolArray

if TYPE_CHECKING:
    import xarray as xr

IntArray = NDArray[np.int64]

# A limit and a minimum that are equal in °F need not be so to the last digit once they are converted. [°C]
SAME_C = 1e-6


# Limits may hold from these stages on; after bloom end nights are no matter.
LIMIT_STAGES = ("budbreak", "bloom_start", "full_bloom")
# What a limit, and the difference from cordon to station, can be: bounds against slips, ours. [°C]
LIMITS_C = (-20.0, 10.0)
COLDER_C = (-10.0, 20.0)


@dataclass(frozen=True)
class FrostLimits:
    """Highest minimum that does harm from each of some stages on, and whose limits they are. [°C]

    Raises
    ------
    BadInput
        If no stage is named, or another one than ``LIMIT_STAGES``, or a limit cannot be.
    """

    limits_c: Mapping[str, float]
    source: str

    def __post_init__(self) -> None:
        strangers = sorted(set(self.limits_c) - set(LIMIT_STAGES))
        if strangers or not self.limits_c:
            problem = f"{', '.join(strangers) or 'none'} given; limits are by {', '.join(LIMIT_STAGES)}"
            raise BadInput("frost limits cannot be", [Problem("frost_limits.limits_c", problem)])
        low, high = LIMITS_C
        wrong = {stage: limit_c for stage, limit_c in self.limits_c.items() if not low <= limit_c <= high}
        if wrong:
            problems = [
                Problem(key, f"{told:g} °C is outside {low:g} to {high:g} °C") for key, told in wrong.items()
            ]
            raise BadInput("frost limits cannot be", problems)


@dataclass(frozen=True)
class StageFrost:
    """Chance of a night at or below a stage's limit, from that stage until the next one with a limit.

    The last one holds until bloom end. ``chance`` is None where either end is not forecast. [°C]
    """

    stage: str
    until: str
    limit_c: float
    chance: float | None


@dataclass(frozen=True)
class FrostNight:
    """A night that was at or below the limit on the block's cordons; its minimum as measured at the station. [°C]"""

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
    by_stage : tuple of StageFrost
        At the limits that were given for stages, in season order.
    colder_c : float
        By how much its cordons are taken to be colder than the station. [°C]
    from_budbreak : bool
        Whether budbreak is forecast; if not, the chance counts from ``as_of``.
    frost_nights : tuple of FrostNight
        Measured nights at or below the limit on its cordons since the median of budbreak; empty where budbreak is
        not forecast.
    """

    block: str
    chance: float | None
    chance_in_bloom: float | None
    from_budbreak: bool
    frost_nights: tuple[FrostNight, ...]
    lacking: tuple[str, ...] = ()
    by_stage: tuple[StageFrost, ...] = ()
    colder_c: float = 0.0


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
    traces: Traces,
    draws: xr.Dataset,
    *,
    as_of: dt.date,
    limit_c: float = 0.0,
    limits: FrostLimits | None = None,
    colder_c: Mapping[str, float] | None = None,
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
    limits : FrostLimits, optional
        By stage, for chances of their own.
    colder_c : mapping of str to float, optional
        By how much the cordons of a block, by key, are colder than the station on any night; 0 for the others.
        [°C]

    Returns
    -------
    tuple of BlockFrost
        In the draws' order of blocks.
    """
    trace_of = np.searchsorted(np.array(traces.seasons), draws["trace_season"].values).astype(np.int64)
    today = float(traces.window.day_index(as_of))
    stages = ["budbreak", *BLOOM_STAGES]
    lacking = tuple(stage for stage in BLOOM_STAGES if stage not in draws["stage"].values)
    days = draws["day"].reindex(stage=stages).transpose("block", "stage", "draw")
    found = []
    for key, (budbreak, start, full, end) in zip(days["block"].values.tolist(), days.values, strict=True):
        colder = 0.0 if colder_c is None else colder_c.get(key, 0.0)
        cordon_c = traces.tmin_c - colder
        cold = cordon_c <= limit_c + SAME_C
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
            for day in _measured_frost(traces, cold[0], as_of)
            if np.mean(budbreak <= day) >= 0.5
        ]
        by_stage: tuple[StageFrost, ...] = ()
        if limits is not None:
            of_stage = dict(zip(stages, (budbreak, start, full, end), strict=True))
            by_stage = tuple(_by_stage(limits, cordon_c, trace_of, of_stage, today))
        found.append(
            BlockFrost(key, chance, in_bloom, knows_budbreak, tuple(nights), lacking, by_stage, colder)
        )
    return tuple(found)


def _by_stage(
    limits: FrostLimits,
    cordon_c: FloatArray,
    trace_of: IntArray,
    of_stage: Mapping[str, FloatArray],
    today: float,
) -> Iterator[StageFrost]:
    """The chances at each stage's own limit; ``of_stage`` holds the draws of each stage's day."""
    told = [stage for stage in LIMIT_STAGES if stage in limits.limits_c]
    for stage, until in zip(told, [*told[1:], "bloom_end"], strict=True):
        limit_c, first, after = limits.limits_c[stage], of_stage[stage], of_stage[until]
        chance = None
        if np.isfinite(first).any() and np.isfinite(after).any():
            last = after if until == "bloom_end" else after - 1
            cold = cordon_c <= limit_c + SAME_C
            chance = frost_chance(cold, trace_of, first=np.maximum(first, today), last=last)
        yield StageFrost(stage, until, limit_c, chance)


def frost_in_outlook(
    traces: Traces,
    draws: xr.Dataset,
    *,
    as_of: dt.date,
    limit_c: float = 0.0,
    colder_c: Mapping[str, float] | None = None,
) -> tuple[dt.date, ...]:
    """Nights of the outlook at or below the limit on a block from its budbreak to its bloom end.

    A block counts from budbreak to bloom end in half its draws or more.

    Parameters as of `frost`. Without a forecast of budbreak shoots count as green, without one of bloom end as in
    bloom.
    """
    through = traces.outlook_through
    if through is None:
        return ()
    days = draws["day"].reindex(stage=["budbreak", "bloom_end"]).transpose("stage", "block", "draw").values
    first, last = np.where(np.isnan(days[0]), -np.inf, days[0]), np.where(np.isnan(days[1]), np.inf, days[1])
    colder = [(colder_c or {}).get(key, 0.0) for key in draws["block"].values.tolist()]
    found = []
    for day in range(traces.window.day_index(as_of), traces.window.day_index(through) + 1):
        green = ((first <= day) & (day <= last)).mean(axis=-1)
        cold = traces.tmin_c[0, day] - np.array(colder) <= limit_c + SAME_C
        if np.any(cold & (green >= 0.5)):
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
