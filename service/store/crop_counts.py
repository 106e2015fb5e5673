"""Clusters counted on canes."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from typing import Any

from models.records import CropCount
from service.store.owned import OwnedByGrower, count, pick
from service.store.records import Counts, KeptCropCount
from service.store.tables import BlockRow, CropCountRow, VineyardRow


class CropCounts(OwnedByGrower):
    """The counts of each vineyard."""

    def add(self, vineyard: str, counts: Sequence[CropCount]) -> Counts:
        """Store counts; one of the same day, block and cane takes the old one's place.

        Raises NotFound (vineyard), UnknownReference (block).
        """
        self._find(VineyardRow, "vineyard", key=vineyard)
        self._check_known(BlockRow, "block", {each.block for each in counts}, vineyard=vineyard)
        rows = [vars(each) for each in counts]
        stored = self._store(CropCountRow, rows, new_values=_new_id, vineyard=vineyard)
        return count(stored.outcomes, stored.replaced)

    def all(self, vineyard: str) -> tuple[KeptCropCount, ...]:
        """By date, block and cane. Raises NotFound (vineyard)."""
        self._find(VineyardRow, "vineyard", key=vineyard)
        found = [
            KeptCropCount(row["id"], CropCount(**pick(row, CropCount)))
            for row in self._select(CropCountRow, vineyard=vineyard)
        ]
        return tuple(sorted(found, key=lambda each: each.order))

    def delete(self, vineyard: str, id: str) -> None:
        """Raises NotFound (vineyard, crop count)."""
        self._find(VineyardRow, "vineyard", key=vineyard)
        self._find(CropCountRow, "crop count", vineyard=vineyard, id=id)
        self._delete(CropCountRow, vineyard=vineyard, id=id)


def _new_id() -> dict[str, Any]:
    return {"id": secrets.token_hex(8)}
