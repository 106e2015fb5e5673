"""The journal: what every row was before a request wrote it. One request's writes are one change."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from sqlalchemy import Connection, Table, bindparam, func, insert, select

from service import clock
from service.store.images import (
    Key,
    Values,
    is_journaled,
    kind_of_owner,
    name_within,
    read_keys,
    read_rows,
    write_keys,
    write_rows,
)
from service.store.records import Written
from service.store.tables import Base, ChangedRows, ChangeRow, table_of

CHANGES = table_of(ChangeRow)
CHANGED = table_of(ChangedRows)
# Asked with every request, so it is put together once.
NEWEST = (
    select(CHANGES.c.number, CHANGES.c.at)
    .where(CHANGES.c.grower == bindparam("grower"))
    .order_by(CHANGES.c.number.desc())
    .limit(1)
)


@dataclass
class _Seen:
    """What a change did to one table: every row as it was before, and which are gone or removed now."""

    before: dict[Key, Values | None] = field(default_factory=dict)
    gone: set[Key] = field(default_factory=set)
    removed: set[Key] = field(default_factory=set)

    def outcome(self, key: Key) -> Literal["added", "replaced", "deleted"]:
        """What became of a row; one that is marked as removed counts as deleted."""
        before = self.before[key]
        stood = before is not None and not before.get("removed")
        stands = key not in self.gone and key not in self.removed
        return ("replaced" if stood else "added") if stands else "deleted"

    def by_owner(self) -> dict[str, tuple[list[Key], list[Key]]]:
        """Keys of the rows that were there before, and of those that were made, sorted."""
        found: dict[str, tuple[list[Key], list[Key]]] = {}
        for key in sorted(self.before):
            if self.before[key] is not None:
                found.setdefault(key[0], ([], []))[0].append(key)
            elif key not in self.gone:
                found.setdefault(key[0], ([], []))[1].append(key)
        return found


class Journal:
    """The change of one transaction; it has a number as soon as a row is written.

    ``code`` and ``params`` say what was done where counts of rows would not say it.
    """

    def __init__(self, connection: Connection, grower: str, by: str) -> None:
        self.now = clock.now()
        self.number: int | None = None
        self.code = "write"
        self.params: dict[str, Any] = {}
        self.undoes: int | None = None
        self._connection = connection
        self._grower = grower
        self._by = by
        self._seen: dict[str, _Seen] = {}

    def open(self) -> int:
        """The number of this change; it will be kept even if no row is written."""
        if self.number is None:
            self.number = self.last() + 1
        return self.number

    def last(self, until: dt.datetime | None = None) -> int:
        """The number of the last change that is kept, or that was made until a moment; 0 where there is none."""
        numbers = select(func.max(CHANGES.c.number)).where(CHANGES.c.grower == self._grower)
        if until is not None:
            numbers = numbers.where(CHANGES.c.at <= until)
        return self._connection.execute(numbers).scalar_one() or 0

    def version(self) -> tuple[int, dt.datetime] | None:
        """Another one after every change that is kept; the moment tells apart histories that number alike."""
        found = self._connection.execute(NEWEST, {"grower": self._grower}).first()
        return None if found is None else (found.number, found.at)

    def newest(self) -> dict[tuple[str, str], tuple[int, dt.datetime]]:
        """The last change that wrote rows of each owner, which is its kind and key, as `version` tells one."""
        query = (
            select(CHANGED.c.of_table, CHANGED.c.owner, func.max(CHANGES.c.number), func.max(CHANGES.c.at))
            .join(CHANGES, (CHANGES.c.grower == CHANGED.c.grower) & (CHANGES.c.number == CHANGED.c.change))
            .where(CHANGED.c.grower == self._grower)
            .group_by(CHANGED.c.of_table, CHANGED.c.owner)
        )
        found: dict[tuple[str, str], tuple[int, dt.datetime]] = {}
        for name, key, number, at in self._connection.execute(query):
            owner = kind_of_owner(Base.metadata.tables[name]), key
            found[owner] = max(found.get(owner, (0, at)), (number, at))
        return found

    def say(self, code: str, **params: Any) -> None:
        """Say what the request is about."""
        self.code, self.params = code, params

    def record(
        self,
        table: Table,
        before: Mapping[Key, Values | None],
        *,
        gone: Collection[Key] = (),
        removed: Collection[Key] = (),
    ) -> None:
        """Note what rows are before they are written (None: they are new), and which are deleted or removed."""
        if not is_journaled(table) or not before:
            return
        self.open()
        seen = self._seen.setdefault(table.name, _Seen())
        for key, row in before.items():
            seen.before.setdefault(key, row)
        seen.gone = (seen.gone - before.keys()) | set(gone)
        seen.removed = (seen.removed - before.keys()) | set(removed)

    def written(self) -> tuple[Written, ...]:
        """How many rows were added, replaced and deleted so far, by table and owner."""
        found = []
        for name, seen in sorted(self._seen.items()):
            kind = kind_of_owner(Base.metadata.tables[name])
            for owner, (old, made) in seen.by_owner().items():
                count = Counter(seen.outcome(key) for key in (*old, *made))
                only = name_within((old + made)[0]) if count.total() == 1 else None
                found.append(
                    Written(name, kind, owner, count["added"], count["replaced"], count["deleted"], only)
                )
        return tuple(found)

    def close(self) -> None:
        """Keep the change, if there is one."""
        if self.number is None:
            return
        written = self.written()
        values = {
            "grower": self._grower,
            "number": self.number,
            "at": self.now,
            "by": self._by,
            "code": self.code,
            "params": {**self.params, "written": [vars(each) for each in written]},
            "rows": sum(each.added + each.replaced + each.deleted for each in written),
            "undoes": self.undoes,
            "undone_by": None,
        }
        self._connection.execute(insert(CHANGES), values)
        chunks = [
            {"grower": self._grower, "change": self.number, "place": place, **chunk}
            for place, chunk in enumerate(self._chunks())
        ]
        if chunks:
            self._connection.execute(insert(CHANGED), chunks)

    def _chunks(self) -> Iterator[dict[str, Any]]:
        """Rows of ``change_rows``: for every table and owner what was there before, and what was not."""
        for name, seen in self._seen.items():
            table = Base.metadata.tables[name]
            for owner, (old, made) in seen.by_owner().items():
                of = {"of_table": name, "owner": owner}
                if old:
                    rows = [row for row in map(seen.before.get, old) if row is not None]
                    yield {**of, "keys": write_keys(table, old), "before": write_rows(table, rows)}
                if made:
                    yield {**of, "keys": write_keys(table, made), "before": None}

    def before(self, change: int) -> dict[str, dict[Key, dict[str, Any] | None]]:
        """All rows of a change as they were before it, by table and key."""
        query = select(CHANGED).where(CHANGED.c.grower == self._grower, CHANGED.c.change == change)
        found: dict[str, dict[Key, dict[str, Any] | None]] = {}
        for chunk in self._connection.execute(query.order_by(CHANGED.c.place)).mappings():
            for key, row in _read(chunk).items():
                found.setdefault(chunk["of_table"], {}).setdefault(key, row)
        return found

    def past(self, table: Table, owner: str, *, after: int = 0) -> Iterator[tuple[Values, dict[Key, Any]]]:
        """The later changes that wrote rows of an owner, oldest first, each with those rows as they were."""
        query = (
            select(CHANGED, CHANGES.c.at, CHANGES.c.by, CHANGES.c.undoes, CHANGES.c.undone_by)
            .join(CHANGES, (CHANGES.c.grower == CHANGED.c.grower) & (CHANGES.c.number == CHANGED.c.change))
            .where(
                CHANGED.c.grower == self._grower,
                CHANGED.c.of_table == table.name,
                CHANGED.c.owner == owner,
                CHANGED.c.change > after,
            )
            .order_by(CHANGED.c.change, CHANGED.c.place)
        )
        for chunk in self._connection.execute(query).mappings():
            yield chunk, _read(chunk)


def _read(chunk: Values) -> dict[Key, dict[str, Any] | None]:
    table = Base.metadata.tables[chunk["of_table"]]
    keys = read_keys(table, chunk["owner"], chunk["keys"])
    if chunk["before"] is None:
        return dict.fromkeys(keys)
    return dict(zip(keys, read_rows(table, chunk["before"]), strict=True))
