"""The changes of a grower's data: listed, and undone."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from typing import Any

from sqlalchemy import ForeignKeyConstraint, Table, select, update

from service.store.errors import AlreadyUndone, Blocker, CannotUndo
from service.store.images import (
    Key,
    Values,
    defaults,
    is_journaled,
    key_columns,
    key_names,
    key_of,
    row_name,
    tables_of,
)
from service.store.journal import CHANGED, CHANGES
from service.store.owned import OwnedByGrower, pick
from service.store.records import Change
from service.store.tables import Base, ChangeRow

MOST_BLOCKERS = 20

Rows = Mapping[str, Mapping[Key, Values | None]]
"""By table and key; None where there is no row."""


class Changes(OwnedByGrower):
    """The grower's changes, numbered in the order in which they were made."""

    def get(self, number: int) -> Change:
        """Raises NotFound."""
        return Change(**pick(self._find(ChangeRow, "change", number=number), Change))

    def all(
        self,
        *,
        owners: Mapping[str, str] | None = None,
        since: dt.datetime | None = None,
        before: int | None = None,
        limit: int | None = None,
    ) -> tuple[Change, ...]:
        """Newest first; those that wrote what is owned by ``owners`` (kind to key, as "vineyard" to "home").

        ``since`` leaves out earlier ones, ``before`` that number and later ones.
        """
        query = select(CHANGES).where(CHANGES.c.grower == self._grower)
        for kind, key in (owners or {}).items():
            touching = select(CHANGED.c.change).where(
                CHANGED.c.grower == self._grower,
                CHANGED.c.of_table.in_(tables_of(kind)),
                CHANGED.c.owner == key,
            )
            query = query.where(CHANGES.c.number.in_(touching))
        if since is not None:
            query = query.where(CHANGES.c.at >= since)
        if before is not None:
            query = query.where(CHANGES.c.number < before)
        found = self._connection.execute(query.order_by(CHANGES.c.number.desc()).limit(limit))
        return tuple(Change(**pick(row, Change)) for row in found.mappings())

    def undo(self, number: int) -> None:
        """Write back what the rows of a change were before it. That is a change too, and can be undone.

        Raises NotFound, AlreadyUndone, CannotUndo (a later change wrote the same rows, or refers to them).
        """
        self._writers: dict[tuple[str, str], dict[Key, int]] = {}
        change = self.get(number)
        if change.undone_by is not None:
            raise AlreadyUndone(number, change.undone_by)
        wanted = self._journal.before(number)
        held = {name: self._held(Base.metadata.tables[name], rows) for name, rows in wanted.items()}
        full: dict[str, dict[Key, Values | None]] = {
            name: {key: _whole(name, key, row, held[name].get(key)) for key, row in rows.items()}
            for name, rows in wanted.items()
        }
        blockers = [*self._written_later(number, full), *self._left_alone(full), *self._left_empty(full)]
        if blockers:
            raise CannotUndo(number, list(dict.fromkeys(blockers))[:MOST_BLOCKERS])
        self._journal.undoes = number
        self._journal.say("undo", change=number)
        tables = [table for table in Base.metadata.sorted_tables if table.name in full]
        for table in tables:
            rows = {key: row for key, row in full[table.name].items() if row is not None}
            self._write(table, rows, {key: held[table.name][key] for key in rows if key in held[table.name]})
        for table in reversed(tables):
            gone = {key: None for key, row in full[table.name].items() if row is None}
            self._write(table, gone, {key: held[table.name][key] for key in gone if key in held[table.name]})
        self._mark_undone(change, self._journal.open())

    def _held(self, table: Table, rows: Mapping[Key, object]) -> dict[Key, Values]:
        """Those of the rows that are stored."""
        first = key_columns(table)[0]
        owners = sorted({key[0] for key in rows})
        found = self._connection.execute(
            select(table).where(table.c.grower == self._grower, first.in_(owners))
        ).mappings()
        return {key: row for row in found if (key := key_of(table, row)) in rows}

    def _written_later(self, number: int, rows: Rows) -> Iterator[Blocker]:
        """Later changes of the same rows. A later one that was undone, and what undid it, cancel out."""
        for name, wanted in rows.items():
            table = Base.metadata.tables[name]
            for owner in sorted({key[0] for key in wanted}):
                for later, written in self._journal.past(table, owner, after=number):
                    undid = later["undoes"]
                    if later["undone_by"] is not None or (undid is not None and undid > number):
                        continue
                    for key in written:
                        if key in wanted:
                            yield Blocker(later["change"], f"it wrote {row_name(table, key)}")
                            break

    def _left_alone(self, rows: Rows) -> Iterator[Blocker]:
        """Rows that would refer to one that goes."""
        for name, wanted in rows.items():
            gone = {key for key, row in wanted.items() if row is None}
            for table, reference in _references_to(name):
                if gone:
                    yield from self._referring(table, reference, gone, rows.get(table.name, {}))

    def _referring(
        self, table: Table, reference: ForeignKeyConstraint, gone: set[Key], wanted: Mapping[Key, Any]
    ) -> Iterator[Blocker]:
        columns = [name for name in reference.column_keys if name != "grower"]
        owners = sorted({key[0] for key in gone})
        found = self._connection.execute(
            select(table).where(table.c.grower == self._grower, table.c[columns[0]].in_(owners))
        ).mappings()
        for row in found:
            key = key_of(table, row)
            then = wanted.get(key, row)
            if then is not None and tuple(then[name] for name in columns) in gone:
                yield Blocker(self._last_writer(table, key), f"{row_name(table, key)} needs what would go")

    def _left_empty(self, rows: Rows) -> Iterator[Blocker]:
        """Rows that would refer to one that is gone."""
        for name, wanted in rows.items():
            for reference in Base.metadata.tables[name].foreign_key_constraints:
                parent = reference.referred_table
                columns = [column for column in reference.column_keys if column != "grower"]
                if not columns or not is_journaled(parent):
                    continue
                needed = {
                    tuple(row[column] for column in columns) for row in wanted.values() if row is not None
                }
                needed = {key for key in needed if None not in key}
                stored = self._held(parent, dict.fromkeys(needed)) if needed else {}
                then = {**dict.fromkeys(stored, True), **rows.get(parent.name, {})}
                for key in sorted(needed):
                    if then.get(key) is None:
                        problem = f"{row_name(parent, key)}, which would be needed again, is gone"
                        yield Blocker(self._last_writer(parent, key), problem)

    def _last_writer(self, table: Table, key: Key) -> int | None:
        """The last change in force that wrote a row. All rows of its owner are looked up at once: they may be many."""
        writers = self._writers.get((table.name, key[0]))
        if writers is None:
            writers = self._writers[table.name, key[0]] = {}
            for change, rows in self._journal.past(table, key[0]):
                if change["undone_by"] is None:
                    writers |= dict.fromkeys(rows, change["change"])
        return writers.get(key)

    def _mark_undone(self, change: Change, by: int) -> None:
        """Note who undid a change. What it had undone holds again; and so on, alternately."""
        undone_by: int | None = by
        while True:
            this_one = (CHANGES.c.grower == self._grower) & (CHANGES.c.number == change.number)
            self._connection.execute(update(CHANGES).where(this_one).values(undone_by=undone_by))
            if change.undoes is None:
                return
            undone_by = None if undone_by is not None else change.number
            change = self.get(change.undoes)


def _references_to(name: str) -> Iterator[tuple[Table, ForeignKeyConstraint]]:
    """The references of journaled tables to a table."""
    for table in Base.metadata.tables.values():
        if is_journaled(table):
            for reference in sorted(table.foreign_key_constraints, key=lambda each: str(each.name)):
                if reference.referred_table.name == name:
                    yield table, reference


def _whole(name: str, key: Key, before: Mapping[str, Any] | None, held: Values | None) -> Values | None:
    """A row as it was; columns that came later keep what they hold."""
    if before is None:
        return None
    table = Base.metadata.tables[name]
    names = key_names(table)
    return {**defaults(table), **(held or {}), **dict(zip(names, key, strict=True)), **before}
