"""Cultivars, vineyards and the blocks in them."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

from sqlalchemy import RowMapping

from models.errors import BadInput, Problem
from models.records import Block, Cultivar, FlowerType, Planting
from service.store.errors import InUse, UnknownReference
from service.store.owned import OwnedByGrower, pick
from service.store.records import Counts, Vineyard
from service.store.tables import (
    BlockRow,
    BloomDateHistoryRow,
    BloomDateRow,
    CalendarEventRow,
    CultivarRow,
    FrostedBlockRow,
    StationRow,
    VineyardRow,
    VisitHistoryRow,
    VisitRow,
)


class Cultivars(OwnedByGrower):
    """The grower's cultivars."""

    def put(self, cultivar: Cultivar) -> bool:
        """Create or replace a cultivar; True if it is new."""
        values = {**dataclasses.asdict(cultivar), "flower_type": cultivar.flower_type.value}
        return self._put(CultivarRow, values, key=cultivar.key)

    def get(self, key: str) -> Cultivar:
        """Raises NotFound."""
        return _cultivar(self._find(CultivarRow, "cultivar", key=key))

    def all(self) -> tuple[Cultivar, ...]:
        """By key."""
        cultivars = [_cultivar(row) for row in self._select(CultivarRow)]
        return tuple(sorted(cultivars, key=lambda cultivar: cultivar.key))

    def delete(self, key: str) -> None:
        """Raises NotFound, InUse (blocks and observations)."""
        self.get(key)
        users = {
            f"block {row['key']} of vineyard {row['vineyard']}"
            for row in self._select(BlockRow, cultivar=key)
        }
        users |= {
            f"the bloom log of vineyard {row['vineyard']}" for row in self._select(BloomDateRow, cultivar=key)
        }
        users |= {f"the visits of vineyard {row['vineyard']}" for row in self._select(VisitRow, cultivar=key)}
        if users:
            raise InUse("cultivar", key, sorted(users))
        self._delete(CultivarRow, key=key)


class Vineyards(OwnedByGrower):
    """The grower's vineyards."""

    def put(self, vineyard: Vineyard) -> bool:
        """Create or replace a vineyard, its blocks untouched; True if it is new.

        Raises UnknownReference (station).
        """
        if vineyard.station is not None:
            self._check_known(StationRow, "station", [vineyard.station], key=vineyard.station)
        weekdays = vineyard.scouting_weekdays
        values = {
            **dataclasses.asdict(vineyard),
            "scouting_weekdays": None if weekdays is None else list(weekdays),
        }
        return self._put(VineyardRow, values, key=vineyard.key)

    def get(self, key: str) -> Vineyard:
        """Raises NotFound."""
        return _vineyard(self._find(VineyardRow, "vineyard", key=key))

    def all(self) -> tuple[Vineyard, ...]:
        """By key."""
        vineyards = [_vineyard(row) for row in self._select(VineyardRow)]
        return tuple(sorted(vineyards, key=lambda vineyard: vineyard.key))

    def delete(self, key: str) -> None:
        """Delete a vineyard with its blocks, its calendar, marks, observations and their history. Raises NotFound."""
        self.get(key)
        for row in (
            BloomDateRow,
            BloomDateHistoryRow,
            VisitRow,
            VisitHistoryRow,
            CalendarEventRow,
            FrostedBlockRow,
            BlockRow,
        ):
            self._delete(row, vineyard=key)
        self._delete(VineyardRow, key=key)


class Blocks(OwnedByGrower):
    """The blocks of the grower's vineyards."""

    def put(self, vineyard: str, block: Block) -> bool:
        """Create or replace a block; True if it is new. Its neighbours may be put later.

        Raises NotFound (vineyard), UnknownReference (cultivar).
        """
        self._find(VineyardRow, "vineyard", key=vineyard)
        self._check_known(CultivarRow, "cultivar", [block.cultivar], key=block.cultivar)
        return self._put(BlockRow, _block_values(block), vineyard=vineyard, key=block.key)

    def get(self, vineyard: str, key: str) -> Block:
        """Raises NotFound (vineyard, block)."""
        self._find(VineyardRow, "vineyard", key=vineyard)
        return _block(self._find(BlockRow, "block", vineyard=vineyard, key=key))

    def all(self, vineyard: str) -> tuple[Block, ...]:
        """By key. Raises NotFound (vineyard)."""
        self._find(VineyardRow, "vineyard", key=vineyard)
        blocks = [_block(row) for row in self._select(BlockRow, vineyard=vineyard)]
        return tuple(sorted(blocks, key=lambda block: block.key))

    def delete(self, vineyard: str, key: str) -> None:
        """Raises NotFound, InUse (observations; blocks that name it as a neighbour)."""
        self.get(vineyard, key)
        users = list(self._observations_of(vineyard, {key}))
        users += [f"block {other.key}" for other in self.all(vineyard) if key in (other.neighbours or ())]
        if users:
            raise InUse("block", key, users)
        self._delete(FrostedBlockRow, vineyard=vineyard, block=key)
        self._delete(BlockRow, vineyard=vineyard, key=key)

    def replace_all(self, vineyard: str, blocks: Sequence[Block]) -> Counts:
        """Make these the vineyard's blocks. Blocks that stay keep their observations.

        Raises NotFound (vineyard), UnknownReference (cultivar, neighbour), InUse (blocks that would go have
        observations), BadInput (a block twice).
        """
        old = {block.key: block for block in self.all(vineyard)}
        new = {block.key: block for block in blocks}
        if len(new) < len(blocks):
            keys = [block.key for block in blocks]
            repeated = sorted({key for key in keys if keys.count(key) > 1})
            raise BadInput("a block is given twice", [Problem(key, "given twice") for key in repeated])
        self._check_known(CultivarRow, "cultivar", {block.cultivar for block in blocks})
        strangers = {key for block in blocks for key in block.neighbours or ()} - new.keys()
        if strangers:
            raise UnknownReference("neighbour", sorted(strangers))
        dropped = old.keys() - new.keys()
        users = self._observations_of(vineyard, dropped)
        if users:
            raise InUse("block", ", ".join(sorted(set(users.values()))), list(users))

        for key in dropped:
            self._delete(FrostedBlockRow, vineyard=vineyard, block=key)
            self._delete(BlockRow, vineyard=vineyard, key=key)
        changed = [block for block in blocks if block.key in old and old[block.key] != block]
        for block in changed:
            self._put(BlockRow, _block_values(block), vineyard=vineyard, key=block.key)
        added = [block for block in blocks if block.key not in old]
        self._insert(BlockRow, [{"vineyard": vineyard, **_block_values(block)} for block in added])
        return Counts(len(added), len(changed), len(blocks) - len(added) - len(changed))

    def planting(self, vineyard: str) -> Planting:
        """The blocks, the cultivars that stand in them, and the reach. Raises NotFound (vineyard)."""
        reach_m = self._find(VineyardRow, "vineyard", key=vineyard)["reach_m"]
        blocks = self.all(vineyard)
        planted = {block.cultivar for block in blocks}
        known = {row["key"]: _cultivar(row) for row in self._select(CultivarRow)}
        return Planting(blocks, {key: known[key] for key in sorted(planted)}, reach_m)

    def _observations_of(self, vineyard: str, blocks: set[str]) -> dict[str, str]:
        """Names of the observations that need these blocks, each with its block."""
        if not blocks:
            return {}
        logged = {row["block"] for row in self._select(BloomDateRow, vineyard=vineyard)} & blocks
        visited = {row["block"] for row in self._select(VisitRow, vineyard=vineyard)} & blocks
        return {
            **{f"the bloom log of block {key}": key for key in sorted(logged)},
            **{f"the visits to block {key}": key for key in sorted(visited)},
        }


def _cultivar(row: RowMapping) -> Cultivar:
    return Cultivar(**{**pick(row, Cultivar), "flower_type": FlowerType(row["flower_type"])})


def _vineyard(row: RowMapping) -> Vineyard:
    weekdays = row["scouting_weekdays"]
    return Vineyard(
        **{**pick(row, Vineyard), "scouting_weekdays": None if weekdays is None else tuple(weekdays)}
    )


def _block(row: RowMapping) -> Block:
    neighbours = row["neighbours"]
    return Block(**{**pick(row, Block), "neighbours": None if neighbours is None else tuple(neighbours)})


def _block_values(block: Block) -> dict[str, Any]:
    neighbours = None if block.neighbours is None else list(block.neighbours)
    return {**dataclasses.asdict(block), "neighbours": neighbours}
