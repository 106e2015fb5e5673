"""Pollen that ends before a block's bloom does, starts after it, or stops in between, told with dates.

A likely case (level ``act``) is told by the medians of all draws, so that its dates are those of the
forecast; a mere possibility (``watch``) by the medians of the draws in which it comes true.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.units import FloatArray
from models.vineyard.cover import Cover
from models.vineyard.pollen_warnings import (
    ACT,
    GapBetweenSources,
    PollenWarning,
    SourceEndsFirst,
    SourceStartsLate,
    Span,
    WarningLevel,
    level_of,
    notable,
)
from models.vineyard.reach import NamedBlock
from models.vineyard.season_days import SeasonDays, median_day
from models.vineyard.synchrony import BoolArray


@dataclass(frozen=True, eq=False)
class Timing:
    """When one block blooms and its sources have open anthers.

    Attributes
    ----------
    block : NamedBlock
    sources : tuple of NamedBlock
        At least one.
    bloom : ndarray, shape (draw, 3)
        The block's bloom start, full bloom and bloom end. [day]
    source_end, first_open, last_open : ndarray, shape (source, draw)
        Bloom end of each source, first and last day with open anthers; infinite after the season. [day]
    receptive_days : int
        [day]
    """

    block: NamedBlock
    sources: tuple[NamedBlock, ...]
    bloom: FloatArray
    source_end: FloatArray
    first_open: FloatArray
    last_open: FloatArray
    receptive_days: int
    season: SeasonDays


def timing_warnings(timing: Timing, cover: Cover) -> list[PollenWarning]:
    """All warnings about time for one block whose bloom, and that of a source at least, is known."""
    found = (ends_early(timing, cover), starts_late(timing, cover), gap_between(timing, cover))
    return [warning for warning in found if warning is not None]


def ends_early(timing: Timing, cover: Cover) -> PollenWarning | None:
    """All sources are over while flowers are still to open."""
    happens = notable(cover.after)
    chance = float(happens.mean())
    level = level_of(chance)
    if level is None:
        return None
    told = _counted_draws(happens, level)
    last_open, end = timing.last_open[:, told], timing.bloom[told, 2]
    last = last_open.argmax(axis=0)
    finish = np.take_along_axis(timing.source_end[:, told], last[np.newaxis], axis=0)[0]
    first_without = median_day(last_open.max(axis=0)) + 1
    return PollenWarning(
        timing.block,
        SourceEndsFirst(
            source=_most_often(timing.sources, last),
            of_sources=len(timing.sources),
            finish=timing.season.date(median_day(finish)),
            days_before=max(0, int(median_day(end - finish))),
            lost_share=float(np.median(cover.after[told])),
        ),
        level,
        chance,
        _dates(timing, first_without, median_day(end) + timing.receptive_days - 1),
    )


def starts_late(timing: Timing, cover: Cover) -> PollenWarning | None:
    """Flowers are past before the first source opens."""
    happens = notable(cover.before)
    chance = float(happens.mean())
    level = level_of(chance)
    if level is None:
        return None
    told = _counted_draws(happens, level)
    first_open, start = timing.first_open[:, told], timing.bloom[told, 0]
    opens_on = first_open.min(axis=0)
    opening = median_day(opens_on)
    opens = bool(np.isfinite(opening))
    return PollenWarning(
        timing.block,
        SourceStartsLate(
            source=_most_often(timing.sources, first_open.argmin(axis=0)),
            of_sources=len(timing.sources),
            opening=timing.season.date(opening) if opens else None,
            days_after=max(0, int(median_day(opens_on - start))) if opens else 0,
            lost_share=float(np.median(cover.before[told])),
        ),
        level,
        chance,
        _dates(timing, median_day(start), opening - 1 if opens else median_day(timing.bloom[told, 2])),
    )


def gap_between(timing: Timing, cover: Cover) -> PollenWarning | None:
    """One source is over before the next one opens, in the middle of the bloom.

    A forecast has no dates of a gap, so those told are the days without pollen in most of the draws that have one.
    """
    happens = notable(cover.between)
    chance = float(happens.mean())
    level = level_of(chance)
    if level is None:
        return None
    first_open = timing.first_open.min(axis=0)[:, np.newaxis]
    last_open = timing.last_open.max(axis=0)[:, np.newaxis]
    without = cover.without_pollen & (cover.days > first_open) & (cover.days < last_open)
    often = without[happens].mean(axis=0)
    likely = cover.days[often >= min(ACT, float(often.max()))]
    lost = float(np.median(cover.between[_counted_draws(happens, level)]))
    return PollenWarning(
        timing.block, GapBetweenSources(lost), level, chance, _dates(timing, likely[0], likely[-1])
    )


def _counted_draws(happens: BoolArray, level: WarningLevel) -> BoolArray:
    """The draws by whose medians a warning is told."""
    return np.ones_like(happens) if level == "act" else happens


def _dates(timing: Timing, first: float, last: float) -> Span:
    """The days without pollen; at least the first of them."""
    return timing.season.date(first), timing.season.date(max(first, last))


def _most_often(sources: tuple[NamedBlock, ...], by_draw: NDArray[np.intp]) -> NamedBlock:
    """The source that most draws name."""
    return sources[int(np.bincount(by_draw, minlength=len(sources)).argmax())]
