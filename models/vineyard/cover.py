"""How much of one pistillate block's bloom gets pollen, draw by draw.

A flower is receptive from the day its cap falls, for some days; it is covered if a viable source in reach
has open anthers on at least one of them. A source has open anthers from its bloom start (10 % of caps off)
until the flowers of its bloom end (95 %) have shed. Its first and last few flowers are not counted on: our
assumption.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.units import FloatArray
from models.vineyard.open_flowers import DayArray, bloom_days, cumulative_share, share_by_day
from models.vineyard.synchrony import BoolArray, CountArray, shared_days, synchrony_index, uncovered_days

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

    Attributes
    ----------
    covered, covered_by, lost_without : ndarray
        Share covered by all sources, by each alone, and by this one only.
    before, after, between : ndarray, shape (draw,)
        Share past before the first source opens, still to open when the last one is over, and uncovered in
        between.
    before_by, after_by : ndarray, shape (source, draw)
        The same for each source as if it stood alone.
    overlap_days : ndarray of int, shape (source, draw)
        Days on which the block is receptive (bloom start to the last receptive day of bloom end) and the
        source's anthers are open. [day]
    synchrony : ndarray, shape (source, draw)
        Those days over the block's receptive days: Augspurger's index of the pair.
    uncovered_days : ndarray of int, shape (draw,)
        Days on which the block is receptive and no source has open anthers. [day]
    days : ndarray of int, shape (day,)
        Days since the start of the season. [day]
    unmet : ndarray, shape (draw, day)
        Share of the block's flowers that open on a day and get no pollen on any of their receptive days.
    early, gap, late : ndarray of bool, shape (draw, day)
        Whether receptive flowers are there that get no pollen on any of their days: before the first source
        opens, between two sources, or after the last one; each only where its whole share is notable.
    """

    covered: FloatArray
    covered_by: FloatArray
    lost_without: FloatArray
    before: FloatArray
    after: FloatArray
    between: FloatArray
    before_by: FloatArray
    after_by: FloatArray
    overlap_days: CountArray
    synchrony: FloatArray
    uncovered_days: CountArray
    days: DayArray
    unmet: FloatArray
    early: BoolArray
    gap: BoolArray
    late: BoolArray

    @property
    def without_pollen(self) -> BoolArray:
        """The days of each draw without pollen, for whatever reason; shape (draw, day)."""
        return self.early | self.gap | self.late


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


def opening_and_met(
    bloom: FloatArray, first_open: FloatArray, last_open: FloatArray, *, receptive_days: int
) -> tuple[DayArray, FloatArray, BoolArray]:
    """When a block's flowers open, and on which days a flower must lose its cap to meet each source.

    Parameters as of `cover`.

    Returns
    -------
    days : ndarray of int, shape (day,)
        Days since the start of the season, through the last receptive one. [day]
    opening : ndarray, shape (draw, day)
        Share of the flowers that open on each.
    met : ndarray of bool, shape (source, draw, day)
    """
    days = bloom_days(bloom)
    days = np.arange(days[0], days[-1] + receptive_days)  # the last flowers stay receptive
    met = _between(days, first_open - (receptive_days - 1), last_open)
    return days, share_by_day(bloom, days), met


def cover(bloom: FloatArray, first_open: FloatArray, last_open: FloatArray, *, receptive_days: int) -> Cover:
    """Cover of one block's bloom by its sources, in each draw.

    Parameters
    ----------
    bloom : ndarray, shape (draw, 3)
        The block's days of bloom start, full bloom and bloom end, in this order, finite. [day]
    first_open, last_open : ndarray, shape (source, draw)
        First and last day with open anthers of each source in reach; infinite after the season. [day]
    receptive_days : int
        Days for which a flower is receptive, from the day its cap falls. [day]

    Returns
    -------
    Cover
    """
    start, full, end = bloom.T

    def opened_by(day: FloatArray) -> FloatArray:
        return cumulative_share(day, start=start, full=full, end=end)

    days, opening, met = opening_and_met(bloom, first_open, last_open, receptive_days=receptive_days)
    sources_met = np.count_nonzero(met, axis=0)
    unmet = np.where(sources_met == 0, opening, 0.0)
    only_one = np.where(sources_met == 1, opening, 0.0)

    covered = np.minimum((opening - unmet).sum(axis=-1), 1.0)  # a sum of 1 may be rounded up
    opens, closes = first_open.min(axis=0, initial=np.inf), last_open.max(axis=0, initial=-np.inf)
    before, after = opened_by(opens - receptive_days), 1.0 - opened_by(closes)
    between = np.clip(1.0 - covered - before - after, 0.0, 1.0)
    without = _running_sum(unmet, receptive_days) >= FEW_FLOWERS
    ahead, behind = days < opens[:, np.newaxis], days > closes[:, np.newaxis]
    before_by = opened_by(first_open - receptive_days)
    after_by = 1.0 - opened_by(last_open)
    receptive = _between(days, start, end + (receptive_days - 1))
    anthers_open = _between(days, first_open, last_open)
    return Cover(
        covered=covered,
        covered_by=np.clip(1.0 - before_by - after_by, 0.0, 1.0),
        lost_without=np.einsum("dt,sdt->sd", only_one, met),
        before=before,
        after=after,
        between=between,
        before_by=before_by,
        after_by=after_by,
        overlap_days=shared_days(receptive, anthers_open),
        synchrony=synchrony_index(receptive, anthers_open[..., np.newaxis, :]),
        uncovered_days=uncovered_days(receptive, anthers_open.swapaxes(0, 1)),
        days=days,
        unmet=unmet,
        early=without & ahead & notable(before)[:, np.newaxis],
        gap=without & ~ahead & ~behind & notable(between)[:, np.newaxis],
        late=without & behind & notable(after)[:, np.newaxis],
    )


def _between(days: DayArray, first: FloatArray, last: FloatArray) -> BoolArray:
    """Whether each day lies in the span; shape (..., day)."""
    return (days >= first[..., np.newaxis]) & (days <= last[..., np.newaxis])


def _running_sum(values: FloatArray, window: int) -> FloatArray:
    """Sum over this day and the ``window - 1`` days before it."""
    total = np.cumsum(values, axis=-1)
    left_behind = np.zeros_like(total)
    left_behind[..., window:] = total[..., :-window]
    return np.asarray(total - left_behind)
