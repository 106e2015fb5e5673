"""How many pistillate vines stand in reach of pollen, and how many each source vine has to serve."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.records import Block, FlowerType, Planting
from models.vineyard.reach import (
    VineGroup,
    cultivar_of,
    sheds_viable_pollen,
    vine_groups,
    vine_places,
    vines_a_place,
    vines_in_reach,
)
from models.vineyard.synchrony import BoolArray


@dataclass(frozen=True, eq=False)
class WhoServesWhom:
    """Pistillate blocks, blocks with viable pollen, and which vines of these reach which vines of those.

    Attributes
    ----------
    groups : tuple of (tuple of VineGroup), one for each pistillate block
        Its vines by which of the sources they have in reach.
    pistillate_at, sources_at : ndarray of int, shape (pistillate place,), (source place,)
        How many vines stand at each place: a block's one place, or each vine of a line.
    reached : ndarray of bool, shape (pistillate place, source place)
    """

    pistillate: tuple[Block, ...]
    sources: tuple[Block, ...]
    groups: tuple[tuple[VineGroup, ...], ...]
    pistillate_at: NDArray[np.int64]
    sources_at: NDArray[np.int64]
    reached: BoolArray

    @property
    def pistillate_vines(self) -> int:
        """All pistillate vines."""
        return int(self.pistillate_at.sum())

    @property
    def source_vines(self) -> int:
        """All vines with viable pollen."""
        return int(self.sources_at.sum())

    @property
    def vines_in_reach(self) -> int:
        """Pistillate vines with at least one source in reach."""
        return int(self.pistillate_at[self.reached.any(axis=1)].sum())


def who_serves_whom(planting: Planting) -> WhoServesWhom:
    """Sort a planting into those that need pollen and those that give it.

    Raises
    ------
    BadInput
        If a block's cultivar is unknown.
    """
    kinds = [(block, cultivar_of(planting, block)) for block in planting.blocks]
    pistillate = tuple(block for block, kind in kinds if kind.flower_type is FlowerType.PISTILLATE)
    sources = tuple(block for block, kind in kinds if sheds_viable_pollen(kind))
    reach_m = planting.reach_m
    return WhoServesWhom(
        pistillate,
        sources,
        tuple(vine_groups(block, sources, reach_m=reach_m) for block in pistillate),
        _vines_at(pistillate),
        _vines_at(sources),
        np.block(
            [
                [vines_in_reach(block, source, reach_m=reach_m) for source in sources]
                or [np.empty((len(vine_places(block)), 0), dtype=np.bool_)]
                for block in pistillate
            ]
        )
        if pistillate
        else np.empty((0, len(_vines_at(sources))), dtype=np.bool_),
    )


def _vines_at(blocks: tuple[Block, ...]) -> NDArray[np.int64]:
    """How many vines stand at each place of these blocks."""
    counts = [[vines_a_place(block)] * len(vine_places(block)) for block in blocks]
    return np.array([count for each in counts for count in each], dtype=np.int64)


def heaviest_load(found: WhoServesWhom) -> int | None:
    """Fewest pistillate vines that the busiest source vine must serve, the work shared as evenly as reach allows.

    Vines with no source in reach are left out; None where none is in reach of any. Whether so many vines for
    each source vine are enough is a question of maximum flow from sources to those they reach.
    """
    needed = found.vines_in_reach
    if not needed:
        return None
    low, high = 0, needed  # too few, and enough
    while high - low > 1:
        middle = (low + high) // 2
        if _served(found, middle) == needed:
            high = middle
        else:
            low = middle
    return high


def _served(found: WhoServesWhom, each: int) -> int:
    """Pistillate vines served when every source vine serves at most ``each`` of those in its reach."""
    from scipy.sparse import csr_array  # loaded where a planting is checked
    from scipy.sparse.csgraph import maximum_flow

    most = found.pistillate_vines
    first_pistillate = 1 + len(found.sources_at)
    sink = first_pistillate + len(found.pistillate_at)
    place, source = np.nonzero(found.reached)
    edges: list[tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]] = [
        (
            np.zeros(len(found.sources_at), dtype=np.int64),
            1 + np.arange(len(found.sources_at)),
            np.minimum(each * found.sources_at, most),
        ),
        (1 + source, first_pistillate + place, np.full(place.size, most)),
        (
            first_pistillate + np.arange(len(found.pistillate_at)),
            np.full(len(found.pistillate_at), sink),
            found.pistillate_at,
        ),
    ]
    start, end, capacity = (np.concatenate(part) for part in zip(*edges, strict=True))
    graph = csr_array((capacity.astype(np.int32), (start, end)), shape=(sink + 1, sink + 1))
    return int(maximum_flow(graph, 0, sink).flow_value)
