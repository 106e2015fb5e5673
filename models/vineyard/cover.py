"""How much of one pistillate block's bloom gets pollen, draw by draw.

A flower is receptive from the day its cap falls, for some days; it is covered if a viable source in reach
has open anthers on at least one of them. A source has open anthers from its bloom start (10 % of caps off)
until the flowers of its bloom end (95 %) have shed. Its first and last few flowers are not counted on: our
assumption.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.bloom.caps_off import cumulative_share
from models.units import FloatArray
from models.vineyard.open_flowers import DayArray, bloom_days, distinct, share_by_day
from models.vineyard.synchrony import (
    BoolArray,
    CountArray,
    length_of_union,
    shared_days,
    synchrony_index,
    uncovered_days,
)

# A day counts as one without pollen when at least this share of the block's flowers are receptive on it
# and get no pollen on any of their receptive days. Our convention: fewer flowers are not worth a walk.
FEW_FLOWERS = 0.02
# Pollen ends early, starts late or has a gap in a draw when this share of the block's flowers is past its reach;
# what is less is told neither by days nor by a warning. Our convention.
NOTABLE_SHARE = 0.05
_ROUNDING = 1e-9


@dataclass(frozen=True, eq=False)
class Cover:
    """Shares of one block's bloom, by draw; (draw,) for all sources together, (source, draw) for each.

    Day by day only in those draws that tell of a cause: in which, for one reason, a notable share gets no pollen.

    Vines of a block may have different sources in reach. Each part of them is computed on its own and counts by its
    share of the vines; all flowers open alike.

    Attributes
    ----------
    covered, covered_by, lost_without : ndarray
        Share covered by all sources, by each alone, and by this one only.
    before_of, after_of, between_of : ndarray, shape (part, draw)
        Share that stands in a part of the vines and is past before the first source in its reach opens, still to open
        when the last one is over, and uncovered in between; nothing of a part without a source.
    before_by, after_by : ndarray, shape (source, draw)
        Share past before each source opens, or still to open when it is over, wherever it reaches.
    overlap_days : ndarray of int, shape (source, draw)
        Days on which the block is receptive (bloom start to the last receptive day of bloom end) and the
        source's anthers are open. [day]
    synchrony : ndarray, shape (source, draw)
        Those days over the block's receptive days: Augspurger's index of the pair.
    uncovered_days : ndarray of int, shape (draw,)
        Days on which the block is receptive and no source in reach has open anthers, in the mean of the vines. [day]
    days : ndarray of int, shape (day,)
        Days since the start of the season. [day]
    told : ndarray of int
        Which draws tell of a cause.
    unmet : ndarray, shape (told draw, day)
        Share of the block's flowers that open on a day and get no pollen on any of their receptive days.
    failed_of : ndarray, shape (part, draw)
        Share that stands in a part of the vines none of whose sources is counted on in the draw.
    early, gap, late, out, failed : ndarray of bool, shape (told draw, day)
        Whether receptive flowers are there that get no pollen on any of their days: before the first source
        opens, between two sources, after the last one, with none in reach, or with none in reach that is counted on;
        each only where its whole share is notable.
    without_pollen : ndarray of bool, shape (told draw, day)
        The days without pollen, for whatever of these reasons.
    """

    covered: FloatArray
    covered_by: FloatArray
    lost_without: FloatArray
    before_of: FloatArray
    after_of: FloatArray
    between_of: FloatArray
    failed_of: FloatArray
    before_by: FloatArray
    after_by: FloatArray
    overlap_days: CountArray
    synchrony: FloatArray
    uncovered_days: CountArray
    days: DayArray
    told: NDArray[np.intp]
    unmet: FloatArray
    early: BoolArray
    gap: BoolArray
    late: BoolArray
    out: BoolArray
    failed: BoolArray
    without_pollen: BoolArray

    @property
    def chance_without(self) -> FloatArray:
        """Share of all draws in which each day is without pollen; shape (day,)."""
        return np.asarray(np.count_nonzero(self.without_pollen, axis=0) / len(self.covered))

    @property
    def before(self) -> FloatArray:
        """Share past before the first source in reach opens; shape (draw,)."""
        return np.asarray(self.before_of.sum(axis=0))

    @property
    def after(self) -> FloatArray:
        """Share still to open when the last source in reach is over; shape (draw,)."""
        return np.asarray(self.after_of.sum(axis=0))

    @property
    def between(self) -> FloatArray:
        """Share uncovered between sources in reach; shape (draw,)."""
        return np.asarray(self.between_of.sum(axis=0))


def notable(share: FloatArray) -> BoolArray:
    """Whether a share of the bloom is large enough to tell of."""
    return share >= NOTABLE_SHARE - _ROUNDING


def open_anther_days(bloom: FloatArray, *, pollen_days: int) -> tuple[FloatArray, FloatArray]:
    """First and last day on which a source has open anthers.

    Parameters
    ----------
    bloom : ndarray, shape (draw, 3)
        Days of bloom start, full bloom and bloom end; NaN where the season ends first. [day]
    pollen_days : int
        Days for which an anther sheds, from the day its cap falls. [day]

    Returns
    -------
    first, last : ndarray, shape (draw,)
        Infinite where the stage comes after the season. [day]
    """
    start, end = np.where(np.isnan(bloom), np.inf, bloom).T[[0, 2]]
    return start, end + (pollen_days - 1)


@dataclass(frozen=True, eq=False)
class Part:
    """A part of a block's vines: its share of them, and which of the sources are in its reach, shape (source,)."""

    share: float
    reached: BoolArray


def receptive_span(bloom: FloatArray, receptive_days: int) -> DayArray:
    """Every day on which a flower of a block is receptive in any draw; parameters as of `cover`. [day]"""
    days = bloom_days(bloom)
    return np.arange(days[0], days[-1] + receptive_days)  # the last flowers stay receptive


def opening_and_met(
    bloom: FloatArray, first_open: FloatArray, last_open: FloatArray, days: DayArray, *, receptive_days: int
) -> tuple[FloatArray, BoolArray]:
    """When a block's flowers open, and on which days a flower must lose its cap to meet each source.

    Parameters as of `cover`, and the days of its `receptive_span`.

    Returns
    -------
    opening : ndarray, shape (draw, day)
        Share of the flowers that open on each.
    met : ndarray of bool, shape (source, draw, day)
    """
    day = days.astype(np.float64)  # compared with others of its kind, it needs no conversion
    met = (day >= first_open[..., np.newaxis] - (receptive_days - 1)) & (day <= last_open[..., np.newaxis])
    return share_by_day(bloom, days), met


def cover(
    bloom: FloatArray,
    first_open: FloatArray,
    last_open: FloatArray,
    *,
    receptive_days: int,
    parts: Sequence[Part] | None = None,
) -> Cover:
    """Cover of one block's bloom by its sources, in each draw.

    Parameters
    ----------
    bloom : ndarray, shape (draw, 3)
        The block's days of bloom start, full bloom and bloom end, in this order, finite. [day]
    first_open, last_open : ndarray, shape (source, draw)
        First and last day with open anthers of each source in reach; infinite after the season, the last one minus
        infinite where a source is not counted on in a draw. [day]
    receptive_days : int
        Days for which a flower is receptive, from the day its cap falls. [day]
    parts : sequence of Part, optional
        Of the block's vines, whose shares sum to 1; by default all have every source in reach.

    Returns
    -------
    Cover
    """
    start, _, end = bloom.T
    parts = _or_whole(parts, first_open)
    # Flowers in the order in which they open: from which share on, and until which one, they meet each source.
    before_by, until_by = _opened(bloom, first_open - receptive_days), _opened(bloom, last_open)
    last_receptive = end + (receptive_days - 1)
    receptive = last_receptive - start + 1
    overlap_days = shared_days(start, last_receptive, first_open, last_open)

    # each of shape (draw,), (source, draw) or (part, draw), summed over parts by their shares
    covered, uncovered = np.zeros(len(bloom)), np.zeros(len(bloom))
    lost_without = np.zeros(first_open.shape)
    before_of, after_of, between_of, failed_of = np.zeros((4, len(parts), len(bloom)))
    for place, part in enumerate(parts):
        mine, share = np.flatnonzero(part.reached), part.share
        got = length_of_union(before_by[mine], until_by[mine])
        covered += share * got
        for source in mine:
            others = mine[mine != source]
            lost_without[source] += share * (got - length_of_union(before_by[others], until_by[others]))
        uncovered += share * uncovered_days(start, last_receptive, first_open[mine], last_open[mine])
        if not mine.size:
            continue
        none = np.isneginf(last_open[mine].max(axis=0))  # is counted on
        failed_of[place] = share * none
        before, after = before_by[mine].min(axis=0), 1.0 - until_by[mine].max(axis=0)
        before_of[place], after_of[place] = share * before * ~none, share * after * ~none
        between_of[place] = share * np.clip(1.0 - got - before - after, 0.0, 1.0) * ~none
    never = np.full(len(bloom), sum(part.share for part in parts if not part.reached.any()))
    tells = notable(
        np.array([*(of.sum(axis=0) for of in (before_of, between_of, after_of, failed_of)), never])
    )

    # day by day only in the draws that tell of a cause, and once for those that are alike
    days = receptive_span(bloom, receptive_days)
    told = np.flatnonzero(tells.any(axis=0))
    unmet, why = np.empty((0, days.size)), np.empty((len(tells), 0, days.size), dtype=np.bool_)
    if told.size:
        alike, which = distinct(np.vstack([bloom.T, first_open, last_open])[:, told].T)
        first, last = np.split(alike[:, 3:].T, 2)
        unmet, why = _unmet_by_day(alike[:, :3], first, last, days, parts, receptive_days=receptive_days)
        unmet, why = unmet[which], why[:, which] & tells[:, told, np.newaxis]
    early, gap, late, failed, out = why
    return Cover(
        covered=covered,
        covered_by=np.clip(until_by - before_by, 0.0, 1.0) * _share_reached(parts),
        lost_without=lost_without,
        before_of=before_of,
        after_of=after_of,
        between_of=between_of,
        failed_of=failed_of,
        before_by=before_by,
        after_by=1.0 - until_by,
        overlap_days=overlap_days.astype(np.int64),
        synchrony=synchrony_index(overlap_days[..., np.newaxis], receptive),
        uncovered_days=np.rint(uncovered).astype(np.int64),
        days=days,
        told=told,
        unmet=unmet,
        early=early,
        gap=gap,
        late=late,
        out=out,
        failed=failed,
        without_pollen=np.asarray(why.any(axis=0)),
    )


def _unmet_by_day(
    bloom: FloatArray,
    first_open: FloatArray,
    last_open: FloatArray,
    days: DayArray,
    parts: Sequence[Part],
    *,
    receptive_days: int,
) -> tuple[FloatArray, BoolArray]:
    """Which flowers get no pollen, by the day on which they open, and on which days receptive ones stand there.

    Parameters as of `opening_and_met`.

    Returns
    -------
    unmet : ndarray, shape (draw, day)
    why : ndarray of bool, shape (5, draw, day)
        Enough of them are there: before the first source, between two, after the last one, with none that is counted
        on, with none in reach.
    """
    opening, met = opening_and_met(bloom, first_open, last_open, days, receptive_days=receptive_days)
    unmet, recent = np.zeros((2, *opening.shape))
    why = np.zeros((5, *opening.shape), dtype=np.bool_)
    early, gap, late, failed, out = why
    for part in parts:
        lacking = part.share * opening * ~met[part.reached].any(axis=0)
        unmet += lacking
        without = _running_sum(lacking, receptive_days)
        recent += without
        some = without > _ROUNDING
        if not part.reached.any():
            out |= some
            continue
        first, last = first_open[part.reached].min(axis=0), last_open[part.reached].max(axis=0)
        none = np.isneginf(last)[:, np.newaxis]
        failed |= some & none
        some &= ~none
        ahead, behind = days < first[:, np.newaxis], days > last[:, np.newaxis]
        early |= some & ahead
        late |= some & behind
        gap |= some & ~(ahead | behind)
    why &= recent >= FEW_FLOWERS
    return unmet, why


def covered_share(
    bloom: FloatArray,
    first_open: FloatArray,
    last_open: FloatArray,
    *,
    receptive_days: int,
    parts: Sequence[Part] | None = None,
) -> FloatArray:
    """Share covered by all sources, as in `cover` and with its parameters, and nothing else; shape (draw,)."""
    before_by, until_by = _opened(bloom, first_open - receptive_days), _opened(bloom, last_open)
    return np.asarray(
        sum(
            part.share * length_of_union(before_by[part.reached], until_by[part.reached])
            for part in _or_whole(parts, first_open)
        )
    )


def _opened(bloom: FloatArray, day: FloatArray) -> FloatArray:
    """Share of the block's flowers that have opened by the end of a day; shapes (draw, 3) and (..., draw)."""
    start, full, end = bloom.T
    return cumulative_share(day, start=start, full=full, end=end)


def _or_whole(parts: Sequence[Part] | None, first_open: FloatArray) -> Sequence[Part]:
    """By default one part, which has every source in reach."""
    return [Part(1.0, np.ones(len(first_open), dtype=np.bool_))] if parts is None else parts


def _share_reached(parts: Sequence[Part]) -> FloatArray:
    """Share of the vines that each source reaches; shape (source, 1)."""
    return np.asarray(sum(part.share * part.reached for part in parts))[:, np.newaxis]


def _running_sum(values: FloatArray, window: int) -> FloatArray:
    """Sum over this day and the ``window - 1`` days before it."""
    total = np.cumsum(values, axis=-1)
    left_behind = np.zeros_like(total)
    left_behind[..., window:] = total[..., :-window]
    return np.asarray(total - left_behind)
