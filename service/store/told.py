"""What was told of each vineyard day by day, and who gets it by mail."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection

from sqlalchemy import func, select

from service.store.owned import OwnedByGrower
from service.store.records import ToldDay
from service.store.tables import NewsReaderRow, ToldDayRow, VineyardRow, table_of


class ToldDays(OwnedByGrower):
    """The days whose forecast was told, of each vineyard."""

    def put(self, vineyard: str, told: ToldDay) -> None:
        """Keep a day, in the place of what was told on it before. Raises NotFound (vineyard)."""
        self._find(VineyardRow, "vineyard", key=vineyard)
        values = {"season": told.season, "told_at": told.told_at, "content": told.content}
        self._put(ToldDayRow, values, vineyard=vineyard, day=told.day)

    def all(
        self, vineyard: str, *, season: int | None = None, until: dt.date | None = None
    ) -> tuple[ToldDay, ...]:
        """By day, through ``until``. Raises NotFound (vineyard)."""
        self._find(VineyardRow, "vineyard", key=vineyard)
        only = {} if season is None else {"season": season}
        found = [
            ToldDay(row["day"], row["season"], row["told_at"], row["content"])
            for row in self._select(ToldDayRow, vineyard=vineyard, **only)
            if until is None or row["day"] <= until
        ]
        return tuple(sorted(found, key=lambda each: each.day))

    def version(self) -> tuple[int, dt.datetime | None]:
        """Another one after each day that is told of any vineyard."""
        table = table_of(ToldDayRow)
        told = select(func.count(), func.max(table.c.told_at)).where(*self._matching(table, {}))
        count, last = self._connection.execute(told).one()
        return count, last


class NewsReaders(OwnedByGrower):
    """The addresses to which each vineyard's news are mailed."""

    def all(self, vineyard: str) -> tuple[str, ...]:
        """Sorted. Raises NotFound (vineyard)."""
        self._find(VineyardRow, "vineyard", key=vineyard)
        return tuple(sorted(row["address"] for row in self._select(NewsReaderRow, vineyard=vineyard)))

    def replace_all(self, vineyard: str, addresses: Collection[str]) -> None:
        """Make these the readers. Raises NotFound (vineyard)."""
        held = set(self.all(vineyard))
        for address in held - set(addresses):
            self._delete(NewsReaderRow, vineyard=vineyard, address=address)
        self._insert(
            NewsReaderRow,
            [
                {"vineyard": vineyard, "address": each, "since": self._journal.now}
                for each in sorted(set(addresses) - held)
            ],
        )
