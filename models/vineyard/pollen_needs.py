"""What a pistillate vine needs in its reach, so that its bloom is covered in so many past seasons.

More sources never cover less. So "covered in n seasons" is the same as a few demands, each of which says: of these
source cultivars at least one must stand in reach. They are the complements of the largest sets that do not suffice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from models.errors import BadInput, Problem
from models.vineyard.cover import open_anther_days, opening_and_met, receptive_span
from models.vineyard.past_cover import SeasonBloom

# Every set of source cultivars is looked at, and there are two to the power of their number.
MOST_SOURCES = 10

Spare = Literal["none", "vine", "cultivar"]
Demand = frozenset[str]


@dataclass(frozen=True)
class CoverBySources:
    """In how many of the seasons each set of source cultivars covers enough of one cultivar's bloom.

    Attributes
    ----------
    sources : tuple of str
    counts : tuple of int
        By set: bit i of its place says whether ``sources[i]`` is in it.
    seasons : int
        Seasons in which the cultivar finishes its bloom.
    """

    sources: tuple[str, ...]
    counts: tuple[int, ...]
    seasons: int

    def covered_by(self, sources: frozenset[str]) -> int:
        """Seasons covered by a set of source cultivars; those that are not among ``self.sources`` add nothing."""
        return self.counts[sum(1 << place for place, each in enumerate(self.sources) if each in sources)]


def cover_by_sources(
    past: Sequence[SeasonBloom],
    cultivar: str,
    sources: Sequence[str],
    *,
    enough_share: float,
    receptive_days: int,
    pollen_days_of: Mapping[str, int],
) -> CoverBySources:
    """Count the seasons that each set of sources covers, as `covered_share` does for one.

    Parameters
    ----------
    past : sequence of SeasonBloom
        That know the cultivar and the sources.
    cultivar : str
    sources : sequence of str
        At most ``MOST_SOURCES``.
    enough_share : float
        A season counts where the median of the covered share is so large.
    receptive_days, pollen_days_of
        As of `pollination`. [day]

    Raises
    ------
    BadInput
        If there are too many sources.
    """
    if len(sources) > MOST_SOURCES:
        problem = f"{len(sources)} source cultivars are too many to try; name at most {MOST_SOURCES}"
        raise BadInput("the layout cannot be searched", [Problem("plant", problem)])
    counts = np.zeros(2 ** len(sources), dtype=np.int64)
    seasons = 0
    for season in past:
        bloom = season.blooms[cultivar]
        complete = np.isfinite(bloom).all(axis=-1)
        bloom = bloom[complete]
        if not bloom.size:
            continue
        seasons += 1
        opened = [
            open_anther_days(season.blooms[source][complete], pollen_days=pollen_days_of[source])
            for source in sources
        ]
        first_open, last_open = np.array(opened).reshape(len(sources), 2, len(bloom)).swapaxes(0, 1)
        days = receptive_span(bloom, receptive_days)
        opening, met = opening_and_met(bloom, first_open, last_open, days, receptive_days=receptive_days)
        for place in range(1, counts.size):
            among = [source for source in range(len(sources)) if place >> source & 1]
            covered = np.minimum((opening - np.where(met[among].any(axis=0), 0.0, opening)).sum(axis=-1), 1.0)
            counts[place] += bool(np.median(covered) >= enough_share)
    return CoverBySources(tuple(sources), tuple(counts.tolist()), seasons)


def demands(cover: CoverBySources, *, share_of_seasons: float, spare: Spare = "none") -> tuple[Demand, ...]:
    """What must stand in reach for so large a share of the seasons to be covered.

    Parameters
    ----------
    cover : CoverBySources
    share_of_seasons : float
    spare : "none", "vine" or "cultivar"
        With "cultivar" the same must hold should any one source cultivar give nothing. With "vine" each demand
        must be met by two vines instead of one, which is the same as: should any one vine give nothing.

    Returns
    -------
    tuple of frozenset of str
        None contains another. An empty one cannot be met: no planting of these sources is enough.
    """
    names = cover.sources
    counts = np.array(cover.counts)
    everything = counts.size - 1
    lacking = counts < share_of_seasons * cover.seasons - 1e-9
    larger = [np.arange(counts.size) | (1 << place) for place in range(len(names))]
    largest = lacking.copy()
    for place, bigger in enumerate(larger):
        outside = (np.arange(counts.size) >> place & 1) == 0
        largest &= ~(outside & lacking[bigger])
    found = {
        frozenset(name for place, name in enumerate(names) if (everything ^ among) >> place & 1)
        for among in np.flatnonzero(largest).tolist()
    }
    if spare == "cultivar":
        found = {demand - {lost} for demand in found for lost in demand or {""}}
    return tuple(sorted((each for each in found if not any(other < each for other in found)), key=sorted))
