"""Every table has a name by which people count its rows."""

from __future__ import annotations

from service.store.tables import GrowerRow
from service.words.changes import THINGS
from service.words.tables import MORE, rows_told


def test_every_table_can_be_told() -> None:
    tables = set(GrowerRow.metadata.tables)
    assert tables == THINGS.keys() | MORE.keys()
    assert rows_told({"vineyards": 1, "visits": 2, "keys": 0}) == ["1 vineyard", "2 visits"]
