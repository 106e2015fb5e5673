"""Pollen that ends before a block's bloom does, starts after it, or stops in between, told with dates.

A likely case (level ``act``) is told by the medians of all draws, so that its dates are those of the
forecast; a mere possibility (``watch``) by the medians of the draws in which it comes true. The days without
pollen are those of ``uncovered``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from models.units import FloatArray
from models.vineyard.cover import Cover, notable
from models.vineyard.pollen_warnings import (
    GapBetweenSources,
    PollenWarning,
    SourceEndsFirst,
    SourceStartsLate,
    level_of,
)
from models.vineyard.reach import NamedBlock
from models.vineyard.season_days import SeasonDays, median_day
from models.vineyard.synchrony import BoolArray
from models.vineyard.uncovered import Uncovered


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
        Bloom end of each source, first and last day with open anthers; infinite after the season, the end and the
        last day minus infinite where the source is not counted on. [day]
    reached : sequence of ndarray of bool, shape (source,)
        Which sources each part of the block's vines has in reach.
    """

    block: NamedBlock
    sources: tuple[NamedBlock, ...]
    bloom: FloatArray
    source_end: FloatArray
    first_open: FloatArray
    last_open: FloatArray
    season: SeasonDays
    reached: Sequence[BoolArray]

    def of_part(self, part: int) -> Timing:
        """For one part of the vines, with the sources that it has in reach."""
        mine = self.reached[part]
        return replace(
            self,
            sources=tuple(source for source, inside in zip(self.sources, mine, strict=True) if inside),
            source_end=self.source_end[mine],
            first_open=self.first_open[mine],
            last_open=self.last_open[mine],
            reached=(mine[mine],),
        )


def timing_warnings(timing: Timing, cover: Cover, uncovered: Sequence[Uncovered]) -> list[PollenWarning]:
    """All warnings about time for one block whose bloom, and that of a source at least, is known.

    Their days are those of ``uncovered``, the block's runs of days without pollen.
    """
    found = (
        _warning(timing, ends_early, cover.after_of, uncovered),
        _warning(timing, starts_late, cover.before_of, uncovered),
        _warning(timing, gap_between, cover.between_of, uncovered),
    )
    return [warning for warning in found if warning is not None]


Told = SourceEndsFirst | SourceStartsLate | GapBetweenSources


def _warning(
    timing: Timing,
    tell: Callable[[Timing, BoolArray, float], Told],
    lost_of: FloatArray,
    uncovered: Sequence[Uncovered],
) -> PollenWarning | None:
    """A warning of what loses this share of the bloom, by part of the vines and draw; None where not likely enough.

    The sources it tells of are those of the part that loses most.
    """
    lost = lost_of.sum(axis=0)
    happens = notable(lost)
    chance = float(happens.mean())
    level = level_of(chance)
    if level is None:
        return None
    part = timing.of_part(int(lost_of.sum(axis=1).argmax()))
    # draws in which none of the sources is counted on tell of no time
    timed: BoolArray = np.asarray((part.last_open > -np.inf).any(axis=0))
    counted = timed if level == "act" or not (timed & happens).any() else timed & happens
    of = tell(part, counted, float(np.median(lost[happens])))
    runs = [run for run in uncovered if run.why == of.code]
    if runs:
        of = replace(of, lost_share=min(1.0, sum(run.share_of_bloom for run in runs)))
    return PollenWarning(timing.block, of, level, chance, tuple(run.span for run in runs))


def ends_early(timing: Timing, counted: BoolArray, lost_share: float) -> SourceEndsFirst:
    """All sources are over while flowers are still to open."""
    last_open, end = timing.last_open[:, counted], timing.bloom[counted, 2]
    last = last_open.argmax(axis=0)
    finish = np.take_along_axis(timing.source_end[:, counted], last[np.newaxis], axis=0)[0]
    return SourceEndsFirst(
        source=_most_often(timing.sources, last),
        of_sources=len(timing.sources),
        finish=timing.season.date(median_day(finish)),
        days_before=max(0, int(median_day(end - finish))),
        lost_share=lost_share,
    )


def starts_late(timing: Timing, counted: BoolArray, lost_share: float) -> SourceStartsLate:
    """Flowers are past before the first source opens."""
    first_open, start = timing.first_open[:, counted], timing.bloom[counted, 0]
    opens_on = first_open.min(axis=0)
    opening = median_day(opens_on)
    opens = bool(np.isfinite(opening))
    return SourceStartsLate(
        source=_most_often(timing.sources, first_open.argmin(axis=0)),
        of_sources=len(timing.sources),
        opening=timing.season.date(opening) if opens else None,
        days_after=max(0, int(median_day(opens_on - start))) if opens else 0,
        lost_share=lost_share,
    )


def gap_between(timing: Timing, counted: BoolArray, lost_share: float) -> GapBetweenSources:  # noqa: ARG001
    """One source is over before the next one opens, in the middle of the bloom."""
    return GapBetweenSources(lost_share)


def _most_often(sources: tuple[NamedBlock, ...], by_draw: NDArray[np.intp]) -> NamedBlock:
    """The source that most draws name."""
    return sources[int(np.bincount(by_draw, minlength=len(sources)).argmax())]
