"""Crop: clusters a cane from counts, with an interval, and what sources name as things to try. No rule of ours."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from scipy.special import stdtrit

from models.heat.season import season_of
from models.records import CropCount

# What sources name to try against too heavy a crop (second-hand). None says how many clusters are too many.
Trial = Literal["cluster_counts", "spur_spacing", "thinning"]
TRIALS: tuple[Trial, ...] = get_args(Trial)


@dataclass(frozen=True)
class CaneClusters:
    """Clusters a cane of one block in one season, as counted last.

    ``low`` and ``high`` are the interval of the mean; None with one cane. ``least`` and ``most`` are of single canes.
    """

    season: int
    block: str
    date: dt.date
    canes: int
    mean: float
    low: float | None
    high: float | None
    least: int
    most: int


def clusters_a_cane(
    counts: Iterable[CropCount], latitude: float, *, interval: float = 0.9
) -> tuple[CaneClusters, ...]:
    """The mean of each block and season; of a cane that was counted twice the last count holds.

    Parameters
    ----------
    counts : iterable of CropCount
    latitude : float
        Tells which dates make a season. [degree]
    interval : float
        Of the mean by Student's t, canes taken as drawn at random; not below 0.

    Returns
    -------
    tuple of CaneClusters
        By season and block.
    """
    of: dict[tuple[int, str], dict[str, CropCount]] = {}
    for count in sorted(counts, key=lambda each: each.date):
        of.setdefault((season_of(count.date, latitude), count.block), {})[count.cane] = count
    return tuple(_summed(*key, list(of[key].values()), interval) for key in sorted(of))


def _summed(season: int, block: str, counts: Sequence[CropCount], interval: float) -> CaneClusters:
    clusters = np.array([count.clusters for count in counts], dtype=np.float64)
    low = high = None
    if len(counts) > 1:
        error = float(clusters.std(ddof=1)) / np.sqrt(len(counts))
        reach = float(stdtrit(len(counts) - 1, (1 + interval) / 2)) * error
        low, high = max(0.0, float(clusters.mean()) - reach), float(clusters.mean()) + reach
    return CaneClusters(
        season=season,
        block=block,
        date=max(count.date for count in counts),
        canes=len(counts),
        mean=float(clusters.mean()),
        low=low,
        high=high,
        least=int(clusters.min()),
        most=int(clusters.max()),
    )
