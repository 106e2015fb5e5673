"""How many of the flowers set: from counts on marked clusters, with an interval, beside what was published."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import betaincinv

from models.heat.season import season_of
from models.records import SetCount

WhyLeftOut = Literal["no_flowers", "no_berries", "no_flower_before", "more_berries_than_flowers"]


@dataclass(frozen=True)
class PublishedSet:
    """A published range of set, by whom, and of what. [share]"""

    low: float
    high: float
    what: str
    source: str


# Both read as abstracts. They are of other vines in other years: a reader's frame, never a verdict.
PUBLISHED = (
    PublishedSet(0.22, 0.34, "four cultivars", "Gupton 1998, USDA-ARS"),
    PublishedSet(0.12, 0.14, "two other cultivars", "Gupton 1998, USDA-ARS"),
    PublishedSet(
        0.337, 0.337, "best set, with cross-pollination", "Sampson et al. 2001, HortScience 36:120-124"
    ),
)


@dataclass(frozen=True)
class ClusterSet:
    """One cluster of one season: flowers before bloom, berries after it."""

    season: int
    block: str
    cluster: str
    flowers: int
    berries: int


@dataclass(frozen=True)
class LeftOut:
    """A cluster whose counts say nothing of set, and why."""

    season: int
    block: str
    cluster: str
    why: WhyLeftOut


@dataclass(frozen=True)
class SetShare:
    """Share of the flowers that set, with its interval.

    Attributes
    ----------
    spread : float
        How much more clusters differ than chance would have it: 1 is chance alone. The interval is that of so many
        times fewer flowers.
    """

    clusters: int
    flowers: int
    berries: int
    share: float
    low: float
    high: float
    spread: float


def clusters_counted(
    counts: Iterable[SetCount], latitude: float
) -> tuple[tuple[ClusterSet, ...], tuple[LeftOut, ...]]:
    """Join counts of one cluster and season: the last of its flowers, and the last of its berries.

    Parameters
    ----------
    counts : iterable of SetCount
    latitude : float
        Tells which dates make a season. [degree]

    Returns
    -------
    clusters, left out : tuples, by season, block and cluster
    """
    of: dict[tuple[int, str, str], list[SetCount]] = {}
    for count in sorted(counts, key=lambda each: each.date):
        of.setdefault((season_of(count.date, latitude), count.block, count.cluster), []).append(count)
    found: list[ClusterSet] = []
    left: list[LeftOut] = []
    for key, seen in sorted(of.items()):
        flowers = [(each.date, each.flowers) for each in seen if each.flowers is not None]
        berries = [(each.date, each.berries) for each in seen if each.berries is not None]
        why = _why_left_out(flowers, berries)
        if why is None:
            found.append(ClusterSet(*key, flowers[-1][1], berries[-1][1]))
        else:
            left.append(LeftOut(*key, why))
    return tuple(found), tuple(left)


def _why_left_out(
    flowers: Sequence[tuple[dt.date, int]], berries: Sequence[tuple[dt.date, int]]
) -> WhyLeftOut | None:
    if not flowers or flowers[-1][1] == 0:
        return "no_flowers"
    if not berries:
        return "no_berries"
    if flowers[-1][0] > berries[-1][0]:
        return "no_flower_before"
    return "more_berries_than_flowers" if berries[-1][1] > flowers[-1][1] else None


def set_share(clusters: Sequence[ClusterSet], *, interval: float = 0.9) -> SetShare:
    """Share of the flowers of clusters that set.

    The interval is the exact binomial one (Clopper & Pearson 1934, Biometrika 26:404-413), of as many flowers as
    would be left if clusters differed by chance alone: a cluster's flowers share their fate.

    Parameters
    ----------
    clusters : sequence of ClusterSet
        At least one.
    interval : float
    """
    flowers = np.array([each.flowers for each in clusters], dtype=np.float64)
    berries = np.array([each.berries for each in clusters], dtype=np.float64)
    share = float(berries.sum() / flowers.sum())
    spread = 1.0
    if len(clusters) > 1 and 0 < share < 1:
        misses = (berries - share * flowers) ** 2 / (share * (1 - share) * flowers)
        spread = max(1.0, float(misses.sum()) / (len(clusters) - 1))
    count = flowers.sum() / spread
    hits, tail = share * count, (1 - interval) / 2
    return SetShare(
        clusters=len(clusters),
        flowers=int(flowers.sum()),
        berries=int(berries.sum()),
        share=share,
        low=0.0 if hits == 0 else float(betaincinv(hits, count - hits + 1, tail)),
        high=1.0 if hits == count else float(betaincinv(hits + 1, count - hits, 1 - tail)),
        spread=spread,
    )
