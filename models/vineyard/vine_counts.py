"""How many pistillate vines stand in reach of pollen, and how many each source vine has to serve."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.records import Block, FlowerType, Planting
from models.vineyard.reach import cultivar_of, in_reach, sheds_viable_pollen
from models.vineyard.synchrony import BoolArray


@dataclass(frozen=True, eq=False)
class WhoServesWhom:
    """Pistillate blocks, blocks with viable pollen, and which of these reach which of those.

    Attributes
    ----------
    reached : ndarray of bool, shape (pistillate, source)
    """

    pistillate: tuple[Block, ...]
    sources: tuple[Block, ...]
    reached: BoolArray

    @property
    def pistillate_vines(self) -> int:
        """All pistillate vines."""
        return _vines(self.pistillate)

    @property
    def source_vines(self) -> int:
        """All vines with viable pollen."""
        return _vines(self.sources)

    @property
    def vines_in_reach(self) -> int:
        """Pistillate vines with at least one source in reach."""
        return _vines([block for block, row in zip(self.pistillate, self.reached, strict=True) if row.any()])

    def sources_of(self, place: int) -> tuple[Block, ...]:
        """The sources in reach of the pistillate block at this place."""
        return tuple(self.sources[source] for source in np.flatnonzero(self.reached[place]))


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
    reached = np.array(
        [[in_reach(block, source, reach_m=planting.reach_m) for source in sources] for block in pistillate],
        dtype=np.bool_,
    ).reshape(len(pistillate), len(sources))
    return WhoServesWhom(pistillate, sources, reached)


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
    first_pistillate = 1 + len(found.sources)
    sink = first_pistillate + len(found.pistillate)
    block, source = np.nonzero(found.reached)
    edges: list[tuple[NDArray[np.int64], NDArray[np.int64], list[int]]] = [
        (
            np.zeros(len(found.sources), dtype=np.int64),
            1 + np.arange(len(found.sources)),
            [min(each * other.vines, most) for other in found.sources],
        ),
        (1 + source, first_pistillate + block, [most] * block.size),
        (
            first_pistillate + np.arange(len(found.pistillate)),
            np.full(len(found.pistillate), sink),
            [one.vines for one in found.pistillate],
        ),
    ]
    start, end, capacity = (np.concatenate(part) for part in zip(*edges, strict=True))
    graph = csr_array((capacity.astype(np.int32), (start, end)), shape=(sink + 1, sink + 1))
    return int(maximum_flow(graph, 0, sink).flow_value)


def _vines(blocks: tuple[Block, ...] | list[Block]) -> int:
    return sum(block.vines for block in blocks)
