"""Flowers and berries counted on marked clusters."""

from __future__ import annotations

import datetime as dt
import secrets
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from models.records import SetCount
from service.store.owned import OwnedByGrower, count, pick
from service.store.records import Counts, KeptSetCount
from service.store.tables import BlockRow, SetCountRow, VineyardRow


class SetCounts(OwnedByGrower):
    """The counts of each vineyard."""

    def add(self, vineyard: str, counts: Sequence[SetCount]) -> Counts:
        """Store counts; one of the same day, block and cluster takes the old one's place.

        What a count does not tell, flowers or berries, stays as it was.

        Raises NotFound (vineyard), UnknownReference (block).
        """
        self._find(VineyardRow, "vineyard", key=vineyard)
        self._check_known(BlockRow, "block", {each.block for each in counts}, vineyard=vineyard)
        known = {_cluster(each.count): each.count for each in self.all(vineyard)}
        rows = [vars(joined(known.get(_cluster(each)), each)) for each in counts]
        stored = self._store(SetCountRow, rows, new_values=_new_id, vineyard=vineyard)
        return count(stored.outcomes, stored.replaced)

    def all(self, vineyard: str) -> tuple[KeptSetCount, ...]:
        """By date, block and cluster. Raises NotFound (vineyard)."""
        self._find(VineyardRow, "vineyard", key=vineyard)
        found = [
            KeptSetCount(row["id"], SetCount(**pick(row, SetCount)))
            for row in self._select(SetCountRow, vineyard=vineyard)
        ]
        return tuple(sorted(found, key=lambda each: each.order))

    def delete(self, vineyard: str, id: str) -> None:
        """Raises NotFound (vineyard, set count)."""
        self._find(VineyardRow, "vineyard", key=vineyard)
        self._find(SetCountRow, "set count", vineyard=vineyard, id=id)
        self._delete(SetCountRow, vineyard=vineyard, id=id)


def joined(old: SetCount | None, new: SetCount) -> SetCount:
    """The newer count, with what only the older one tells."""
    if old is None:
        return new
    flowers = old.flowers if new.flowers is None else new.flowers
    return replace(new, flowers=flowers, berries=old.berries if new.berries is None else new.berries)


def _cluster(count: SetCount) -> tuple[dt.date, str, str]:
    return count.date, count.block, count.cluster


def _new_id() -> dict[str, Any]:
    return {"id": secrets.token_hex(8)}
