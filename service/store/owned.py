"""What all repositories share: a connection within a transaction, and the grower whose rows it touches."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any, Literal

from sqlalchemy import Connection, RowMapping, Table, bindparam, delete, insert, select, update
from sqlalchemy.sql.elements import ColumnElement

from service import clock
from service.store.errors import NotFound, UnknownReference
from service.store.records import Counts
from service.store.tables import Base, table_of

Values = Mapping[str, Any] | RowMapping
Outcome = Literal["stored", "replaced", "unchanged"]


class OwnedByGrower:
    """A repository of one grower's rows.

    ``where`` and ``values`` below name columns; the grower is always added to them.
    """

    def __init__(self, connection: Connection, grower: str) -> None:
        self._connection = connection
        self._grower = grower

    def _matching(self, table: Table, where: Mapping[str, Any]) -> list[ColumnElement[bool]]:
        """The conditions of a statement on this grower's rows."""
        wanted = {"grower": self._grower, **where}
        return [table.c[name] == value for name, value in wanted.items()]

    def _select(self, row: type[Base], **where: Any) -> Sequence[RowMapping]:
        """The rows in no order: a database sorts text by its own locale, so what is sorted is sorted here."""
        table = table_of(row)
        return self._connection.execute(select(table).where(*self._matching(table, where))).mappings().all()

    def _find(self, row: type[Base], kind: str, **where: Any) -> RowMapping:
        """The one row; the last condition is the key by which a missing one is named."""
        found = self._select(row, **where)
        if not found:
            raise NotFound(kind, str(list(where.values())[-1]))
        return found[0]

    def _put(self, row: type[Base], values: Mapping[str, Any], **where: Any) -> bool:
        """Replace the row, or insert it; True if it is new."""
        table = table_of(row)
        changed = self._connection.execute(update(table).where(*self._matching(table, where)).values(values))
        if changed.rowcount:
            return False
        self._insert(row, [{**where, **values}])
        return True

    def _insert(self, row: type[Base], rows: Iterable[Values]) -> None:
        owned = [{"grower": self._grower, **values} for values in rows]
        if owned:
            self._connection.execute(insert(table_of(row)), owned)

    def _delete(self, row: type[Base], **where: Any) -> None:
        table = table_of(row)
        self._connection.execute(delete(table).where(*self._matching(table, where)))

    def _check_known(self, row: type[Base], kind: str, keys: Collection[str], **where: Any) -> None:
        """Raise UnknownReference unless each key is one of the grower's."""
        if keys:
            unknown = set(keys) - {found["key"] for found in self._select(row, **where)}
            if unknown:
                raise UnknownReference(kind, sorted(unknown))

    def _supersede(
        self,
        current: type[Base],
        history: type[Base],
        rows: Sequence[Values],
        *,
        bounds: Sequence[ColumnElement[bool]] = (),
        **scope: Any,
    ) -> list[Outcome]:
        """Put rows in the place of those with the same key, which go to the history. One outcome a row.

        ``rows`` lack the columns of ``scope`` and the time of storing. ``bounds`` may narrow what is read of
        the table, if they hold for all ``rows``.
        """
        table = table_of(current)
        now = clock.now()
        scope = {"grower": self._grower, **scope}
        key_names = [column.name for column in table.primary_key if column.name not in scope]
        value_names = [c.name for c in table.c if not c.primary_key and c.name != "stored_at"]

        def key_of(row: Values) -> tuple[Any, ...]:
            return tuple([row[name] for name in key_names])

        found = self._connection.execute(
            select(table).where(*self._matching(table, scope), *bounds)
        ).mappings()
        held: dict[tuple[Any, ...], dict[str, Any]] = {key_of(row): dict(row) for row in found}
        new: set[tuple[Any, ...]] = set()
        changed: set[tuple[Any, ...]] = set()
        superseded: list[dict[str, Any]] = []
        outcomes: list[Outcome] = []
        for row in rows:
            key = key_of(row)
            old = held.get(key)
            if old is not None and all(old[name] == row[name] for name in value_names):
                outcomes.append("unchanged")
                continue
            if old is None:
                new.add(key)
                outcomes.append("stored")
            else:
                superseded.append({**old, "superseded_at": now})
                changed.add(key)
                outcomes.append("replaced")
            held[key] = {**scope, **row, "stored_at": now}

        self._insert(history, superseded)
        self._insert(current, [held[key] for key in held if key in new])
        replaced = [{f"new_{name}": value for name, value in held[key].items()} for key in changed - new]
        if replaced:
            same_row = [column == bindparam(f"new_{column.name}") for column in table.primary_key]
            new_values: dict[str, Any] = {
                name: bindparam(f"new_{name}") for name in [*value_names, "stored_at"]
            }
            self._connection.execute(update(table).where(*same_row).values(new_values), replaced)
        return outcomes


def count(outcomes: Iterable[Outcome]) -> Counts:
    """How many rows went each way."""
    seen = list(outcomes)
    return Counts(seen.count("stored"), seen.count("replaced"), seen.count("unchanged"))


def pick(row: Values, record: type[Any]) -> dict[str, Any]:
    """The columns of a row that are fields of a record."""
    return {field.name: row[field.name] for field in dataclasses.fields(record)}
