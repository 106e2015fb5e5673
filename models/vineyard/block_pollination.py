"""Pollen cover of a block, summed up over the draws: what the caller gets."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.records import Block
from models.units import FloatArray
from models.vineyard.cover import Cover, notable
from models.vineyard.pollen_warnings import PollenWarning
from models.vineyard.reach import distance_m, neighbours_given
from models.vineyard.season_days import median_day, quantile_day
from models.vineyard.uncovered import DailyChance, Uncovered


@dataclass(frozen=True)
class MedianInterval:
    """Median and interval over the draws."""

    median: float
    low: float
    high: float


@dataclass(frozen=True)
class SourceCover:
    """What one pollen source in reach does for one pistillate block.

    Attributes
    ----------
    distance_m : float or None
        None where a list of neighbours decided. [m]
    overlap_days : MedianInterval
        Days on which the block is receptive and the source's anthers are open. [day]
    synchrony : float
        Those days over all on which the block is receptive (Augspurger's index of the pair), median.
    share_of_bloom_covered, share_lost_without_it : float
        Share of the block's flowers that this source covers alone, and that only this one covers, medians.
    share_of_supply : float
        Its share of the pollen that all of these sources can give: vines, flowers a vine and quality. It changes no
        other number.
    chance_ends_first, chance_starts_late : float
        Chance that at least 5 % of the flowers are still to open when this source's pollen is over, and
        that at least 5 % are no longer receptive when it begins.
    """

    block: str
    cultivar: str
    distance_m: float | None
    overlap_days: MedianInterval
    synchrony: float
    share_of_bloom_covered: float
    share_lost_without_it: float
    chance_ends_first: float
    chance_starts_late: float
    share_of_supply: float = 1.0


@dataclass(frozen=True)
class AtReach:
    """Cover of a block were pollen carried so far: which sources it would have, and how much they would cover. [m]"""

    reach_m: float
    sources: tuple[str, ...]
    share_of_bloom_covered: MedianInterval | None


@dataclass(frozen=True, kw_only=True)
class BlockPollination:
    """Pollen cover of one pistillate block.

    ``sources`` are the viable ones in reach whose bloom can be forecast, the best first.
    ``share_of_bloom_covered``, and ``uncovered_days`` on which the block is receptive and no source has open
    anthers, are None where the bloom of the block, or of all its sources, cannot be forecast. [day]
    ``at_other_reach`` tells half and double the reach, where other sources would stand in it. ``without_pollen`` is
    the chance of every day, those too that are not likely enough to be told in words.
    """

    block: str
    cultivar: str
    sources: tuple[SourceCover, ...]
    share_of_bloom_covered: MedianInterval | None
    uncovered_days: MedianInterval | None
    uncovered: tuple[Uncovered, ...]
    warnings: tuple[PollenWarning, ...]
    at_other_reach: tuple[AtReach, ...] = ()
    without_pollen: DailyChance | None = None


def source_cover(
    block: Block, source: Block, found: Cover, index: int, interval: float, share_of_supply: float
) -> SourceCover:
    """What the source at ``index`` of a block's sources does for it."""
    return SourceCover(
        block=source.key,
        cultivar=source.cultivar,
        distance_m=None if neighbours_given(block, source) else distance_m(block, source),
        overlap_days=day_interval(found.overlap_days[index].astype(np.float64), interval),
        synchrony=float(np.median(found.synchrony[index])),
        share_of_bloom_covered=float(np.median(found.covered_by[index])),
        share_lost_without_it=float(np.median(found.lost_without[index])),
        chance_ends_first=float(notable(found.after_by[index]).mean()),
        chance_starts_late=float(notable(found.before_by[index]).mean()),
        share_of_supply=share_of_supply,
    )


def share_interval(share: FloatArray, interval: float) -> MedianInterval:
    """Median and interval of a share, shape (draw,)."""
    median, low, high = np.quantile(share, [0.5, (1 - interval) / 2, (1 + interval) / 2])
    return MedianInterval(float(median), float(low), float(high))


def day_interval(days: FloatArray, interval: float) -> MedianInterval:
    """Median and interval of a number of days, shape (draw,). [day]"""
    return MedianInterval(
        median_day(days), quantile_day(days, (1 - interval) / 2), quantile_day(days, (1 + interval) / 2)
    )
