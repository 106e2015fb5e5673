"""Cultivars, vineyards and the blocks in them."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import Any, Literal

from sqlalchemy import RowMapping, select

from models.errors import BadInput, Problem
from models.records import Block, Cultivar, FlowerType, Planting, PollenNote
from models.vineyard.frost import FrostLimits
from service.store.errors import AlreadyThere, InUse, UnknownReference
from service.store.images import rows_below
from service.store.owned import MOST_REPLACED, OwnedByGrower, pick
from service.store.records import Counts, Place, Replaced, Vineyard
from service.store.tables import BlockRow, CultivarRow, StationRow, VineyardRow, table_of

PAST = rows_below(BlockRow)
"""What is known of a block beside what stands there: rows with ``vineyard`` and ``block``."""

MOST_BLOCKS = 2_000  # of one vineyard


class Cultivars(OwnedByGrower):
    """The grower's cultivars."""

    def put(self, cultivar: Cultivar, *, beside: Collection[str] = ()) -> bool:
        """Create or replace a cultivar; True if it is new. ``beside`` are keys that are put with it.

        Raises BadInput (it is said to bloom like itself), UnknownReference (or like one that does not exist).
        """
        like = cultivar.blooms_like
        if like == cultivar.key:
            problem = "a cultivar can't be told by itself"
            raise BadInput("the offset says nothing", [Problem("blooms_like", problem)])
        if like is not None and like not in beside:
            self._check_known(CultivarRow, "cultivar", [like], key=like)
        notes = [dataclasses.asdict(note) for note in cultivar.pollen_notes]
        values = {
            **dataclasses.asdict(cultivar),
            "flower_type": cultivar.flower_type.value,
            "pollen_notes": notes or None,
        }
        return self._put(CultivarRow, values, key=cultivar.key)

    def get(self, key: str) -> Cultivar:
        """Raises NotFound."""
        return _cultivar(self._find(CultivarRow, "cultivar", key=key))

    def all(self) -> tuple[Cultivar, ...]:
        """By key."""
        cultivars = [_cultivar(row) for row in self._select(CultivarRow)]
        return tuple(sorted(cultivars, key=lambda cultivar: cultivar.key))

    def delete(self, key: str) -> None:
        """Raises NotFound, InUse (blocks, observations, cultivars that are said to bloom like it)."""
        self.get(key)
        self._check_unused(CultivarRow, "cultivar", key)
        if alike := [f"cultivar {row['key']}" for row in self._select(CultivarRow, blooms_like=key)]:
            raise InUse("cultivar", key, sorted(alike))
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

    def timezones(self) -> set[str | None]:
        """Those that any of them lies in; None where one lies in the service's."""
        table = table_of(VineyardRow)
        named = select(table.c.timezone).where(*self._matching(table, {})).distinct()
        return set(self._connection.execute(named).scalars())

    def delete(self, key: str) -> None:
        """Delete a vineyard with all that is in it. Raises NotFound."""
        self.get(key)
        for row in rows_below(VineyardRow):
            self._delete(row, vineyard=key)
        self._delete(VineyardRow, key=key)


class Blocks(OwnedByGrower):
    """The blocks of the grower's vineyards.

    One that is taken out leaves the planting; its past stays for the fits, unless it is to go too.
    """

    def put(self, vineyard: str, block: Block) -> bool:
        """Create or replace a block; True if it is new. Its neighbours may be put later.

        Raises NotFound (vineyard), UnknownReference (cultivar).
        """
        self._find(VineyardRow, "vineyard", key=vineyard)
        self._check_known(CultivarRow, "cultivar", [block.cultivar], key=block.cultivar)
        standing = self._select(BlockRow, vineyard=vineyard, key=block.key, removed=False)
        if not standing:
            _check_number(len(self._select(BlockRow, vineyard=vineyard, removed=False)) + 1)
        self._put(BlockRow, _block_values(block), vineyard=vineyard, key=block.key)
        return not standing

    def get(self, vineyard: str, key: str) -> Block:
        """Raises NotFound (vineyard, block)."""
        self._find(VineyardRow, "vineyard", key=vineyard)
        return _block(self._find(BlockRow, "block", vineyard=vineyard, removed=False, key=key))

    def all(self, vineyard: str) -> tuple[Block, ...]:
        """By key. Raises NotFound (vineyard)."""
        self._find(VineyardRow, "vineyard", key=vineyard)
        blocks = [_block(row) for row in self._select(BlockRow, vineyard=vineyard, removed=False)]
        return tuple(sorted(blocks, key=lambda block: block.key))

    def known(self, vineyard: str) -> dict[str, str]:
        """Cultivar of every block that stands or stood in a vineyard. Raises NotFound (vineyard)."""
        self._find(VineyardRow, "vineyard", key=vineyard)
        return {row["key"]: row["cultivar"] for row in self._select(BlockRow, vineyard=vineyard)}

    def delete(self, vineyard: str, key: str, *, past: Literal["keep", "delete"] = "keep") -> None:
        """Take a block out; its past is kept, or goes too (also that of a block that was taken out before).

        Raises NotFound (vineyard, block), InUse (blocks that name it as a neighbour).
        """
        if past == "keep" or key not in self.known(vineyard):
            self.get(vineyard, key)
        users = [f"block {other.key}" for other in self.all(vineyard) if key in (other.neighbours or ())]
        if users:
            raise InUse("block", key, users)
        if past == "delete":
            for row in PAST:
                self._delete(row, vineyard=vineyard, block=key)
        self._take_out(vineyard, key)

    def rename(self, vineyard: str, key: str, to: str) -> Block:
        """Give a block another key; its past and the blocks that name it follow.

        Raises NotFound (vineyard, block), AlreadyThere (a block of that key stands or stood here).
        """
        block = replace(self.get(vineyard, key), key=to)
        if to in self.known(vineyard):
            raise AlreadyThere("block", to)
        self._insert(BlockRow, [{"vineyard": vineyard, **_block_values(block)}])
        for row in PAST:
            past = self._select(row, vineyard=vineyard, block=key)
            self._delete(row, vineyard=vineyard, block=key)
            subject = {"subject": Place("block", to).subject} if "subject" in table_of(row).c else {}
            self._insert(row, [{**each, "block": to, **subject} for each in past])
        self._delete(BlockRow, vineyard=vineyard, key=key)
        for other in self.all(vineyard):
            if key in (other.neighbours or ()):
                named = tuple(to if each == key else each for each in other.neighbours or ())
                self.put(vineyard, replace(other, neighbours=named))
        return self.get(vineyard, to)

    def replace_all(self, vineyard: str, blocks: Sequence[Block]) -> Counts:
        """Make these the vineyard's blocks; the others are taken out, and their past is kept.

        Raises NotFound (vineyard), UnknownReference (cultivar, neighbour), BadInput (a block twice).
        """
        _check_number(len(blocks))
        old = {block.key: block for block in self.all(vineyard)}
        new = {block.key: block for block in blocks}
        if len(new) < len(blocks):
            keys = [block.key for block in blocks]
            repeated = sorted({key for key in keys if keys.count(key) > 1})
            raise BadInput("a block is given twice", [Problem(key, "given twice") for key in repeated])
        self._check_known(CultivarRow, "cultivar", {block.cultivar for block in blocks})
        strangers = {key for block in blocks for key in block.neighbours or ()} - new.keys()
        if strangers:
            raise UnknownReference("neighbour", sorted(strangers), new)

        for key in sorted(old.keys() - new.keys()):
            self._take_out(vineyard, key)
        changed = [block for block in blocks if block.key in old and old[block.key] != block]
        added = [block for block in blocks if block.key not in old]
        held = {row["key"]: row for row in self._select(BlockRow, vineyard=vineyard)}
        rows = {(vineyard, block.key): block for block in [*changed, *added]}
        self._write(
            table_of(BlockRow),
            {key: {"vineyard": vineyard, **_block_values(block)} for key, block in rows.items()},
            {key: held[key[1]] for key in rows if key[1] in held},
        )
        replaced = [_replaced(old[block.key], block) for block in changed]
        return Counts(
            len(added), len(changed), len(blocks) - len(added) - len(changed), tuple(replaced[:MOST_REPLACED])
        )

    def with_past(self, vineyard: str, keys: Collection[str]) -> tuple[str, ...]:
        """Those of these blocks of which something was seen. Raises NotFound (vineyard)."""
        self._find(VineyardRow, "vineyard", key=vineyard)
        seen = {row["block"] for kind in PAST for row in self._select(kind, vineyard=vineyard)}
        return tuple(sorted(seen & set(keys)))

    def _take_out(self, vineyard: str, key: str) -> None:
        if self.with_past(vineyard, [key]):
            self._put(BlockRow, {"removed": True}, vineyard=vineyard, key=key)
        else:
            self._delete(BlockRow, vineyard=vineyard, key=key)

    def planting(self, vineyard: str) -> Planting:
        """The blocks, the cultivars that stand in them, and the reach. Raises NotFound (vineyard)."""
        reach_m = self._find(VineyardRow, "vineyard", key=vineyard)["reach_m"]
        blocks = self.all(vineyard)
        planted = {block.cultivar for block in blocks}
        known = {row["key"]: _cultivar(row) for row in self._select(CultivarRow)}
        return Planting(blocks, {key: known[key] for key in sorted(planted)}, reach_m)


def _check_number(blocks: int) -> None:
    if blocks > MOST_BLOCKS:
        problem = f"{blocks:,} blocks; a vineyard has at most {MOST_BLOCKS:,}: make two of it"
        raise BadInput("the vineyard has too many blocks", [Problem("blocks", problem)])


def _cultivar(row: RowMapping) -> Cultivar:
    notes = tuple(PollenNote(**note) for note in row["pollen_notes"] or ())
    return Cultivar(
        **{**pick(row, Cultivar), "flower_type": FlowerType(row["flower_type"]), "pollen_notes": notes}
    )


def _vineyard(row: RowMapping) -> Vineyard:
    weekdays, limits = row["scouting_weekdays"], row["frost_limits"]
    return Vineyard(
        **{
            **pick(row, Vineyard),
            "scouting_weekdays": None if weekdays is None else tuple(weekdays),
            "frost_limits": None if limits is None else FrostLimits(**limits),
        }
    )


def _block(row: RowMapping) -> Block:
    neighbours = row["neighbours"]
    return Block(**{**pick(row, Block), "neighbours": None if neighbours is None else tuple(neighbours)})


def _block_values(block: Block) -> dict[str, Any]:
    neighbours = None if block.neighbours is None else list(block.neighbours)
    return {**dataclasses.asdict(block), "neighbours": neighbours, "removed": False}


def _replaced(old: Block, new: Block) -> Replaced:
    before, after = _block_values(old), _block_values(new)
    differ = [name for name in after if before[name] != after[name]]
    return Replaced(
        (old.key,), {name: before[name] for name in differ}, {name: after[name] for name in differ}
    )
