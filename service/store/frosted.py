"""Which blocks froze in which season."""

from __future__ import annotations

from models.records import FrostedBlock
from service.store.errors import NotFound
from service.store.owned import OwnedByGrower, pick
from service.store.tables import BlockRow, FrostedBlockRow, VineyardRow


class FrostedBlocks(OwnedByGrower):
    """The frosted blocks of each vineyard."""

    def put(self, vineyard: str, frosted: FrostedBlock) -> bool:
        """Mark a block, in the place of its mark of that season; True if it is new.

        Raises NotFound (vineyard, block).
        """
        self._find(VineyardRow, "vineyard", key=vineyard)
        self._find(BlockRow, "block", vineyard=vineyard, key=frosted.block)
        where = {"vineyard": vineyard, "block": frosted.block, "season": frosted.season}
        return self._put(
            FrostedBlockRow, {"night": frosted.night, "share_killed": frosted.share_killed}, **where
        )

    def all(self, vineyard: str) -> tuple[FrostedBlock, ...]:
        """By season and block. Raises NotFound (vineyard)."""
        self._find(VineyardRow, "vineyard", key=vineyard)
        found = [
            FrostedBlock(**pick(row, FrostedBlock))
            for row in self._select(FrostedBlockRow, vineyard=vineyard)
        ]
        return tuple(sorted(found, key=lambda each: (each.season, each.block)))

    def delete(self, vineyard: str, block: str, season: int) -> None:
        """Take a mark away. Raises NotFound (vineyard, block, mark)."""
        self._find(VineyardRow, "vineyard", key=vineyard)
        self._find(BlockRow, "block", vineyard=vineyard, key=block)
        if not self._select(FrostedBlockRow, vineyard=vineyard, block=block, season=season):
            raise NotFound("frost", f"{block} in {season}")
        self._delete(FrostedBlockRow, vineyard=vineyard, block=block, season=season)
