"""What all repositories share: a connection within a transaction, and the grower whose rows it touches."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from typing import Any, Literal, NamedTuple

from sqlalchemy import Connection, RowMapping, String, Table, Text, bindparam, delete, select, update
from sqlalchemy.sql.elements import ColumnElement

from models.errors import BadInput, Problem
from service.store.errors import InUse, NotFound, UnknownReference
from service.store.images import Key, Values, is_journaled, key_names, key_of, references_to, user_name
from service.store.inserting import insert_rows
from service.store.journal import Journal
from service.store.records import Counts, FitSummary, Replaced
from service.store.tables import Base, table_of

Outcome = Literal["stored", "replaced", "unchanged"]
MOST_REPLACED = 20  # shown of what an upload replaced
LONGEST_NAME, LONGEST_NOTE = 200, 2_000  # characters
NO_NEWS = ("stored_at", "note", "id")


class Stored(NamedTuple):
    """What became of each row, and the first of those that were replaced."""

    outcomes: tuple[Outcome, ...]
    replaced: tuple[Replaced, ...]


class OwnedByGrower:
    """A repository of one grower's rows.

    ``where`` and ``values`` below name columns; the grower is always added to them.
    """

    def __init__(self, connection: Connection, grower: str, journal: Journal) -> None:
        self._connection = connection
        self._grower = grower
        self._journal = journal

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
        """Replace what is given of the row with this key, or insert it; True if it is new."""
        table = table_of(row)
        held = self._select(row, **where)
        old = dict(held[0]) if held else {}
        new = {**old, **where, **values}
        if new != old:
            key = key_of(table, new)
            self._write(table, {key: new}, {key: old} if held else {})
        return not held

    def _insert(self, row: type[Base], rows: Iterable[Values]) -> None:
        table = table_of(row)
        self._write(table, {key_of(table, values): values for values in rows}, {})

    def _delete(self, row: type[Base], *, bounds: Sequence[ColumnElement[bool]] = (), **where: Any) -> int:
        """Delete the rows, within further bounds where given, and say how many there were."""
        table = table_of(row)
        query = select(table).where(*self._matching(table, where), *bounds)
        held: dict[Key, Values] = {
            key_of(table, found): found for found in self._connection.execute(query).mappings()
        }
        self._write(table, dict.fromkeys(held), held)
        return len(held)

    def _write(self, table: Table, wanted: Mapping[Key, Values | None], held: Mapping[Key, Values]) -> None:
        """Make these the rows with their keys (None: no row). All writes to journaled tables go through here.

        ``held`` are those of them that are stored now.
        """
        check_lengths(table, wanted.values())
        gone = [key for key, row in wanted.items() if row is None and key in held]
        made = [row for key, row in wanted.items() if row is not None and key not in held]
        changed = [row for key, row in wanted.items() if row is not None and key in held]
        before = {key: held.get(key) for key, row in wanted.items() if row is not None or key in held}
        removed = [key for key, row in wanted.items() if row is not None and row.get("removed")]
        self._journal.record(table, before, gone=gone, removed=removed)
        if made:
            insert_rows(self._connection, table, made, grower=self._grower)
        names = key_names(table)
        this_row = [
            table.c.grower == self._grower,
            *(table.c[name] == bindparam(f"key_{name}") for name in names),
        ]
        if changed:
            new: dict[str, Any] = {c.name: bindparam(f"new_{c.name}") for c in table.c if not c.primary_key}
            rows = [
                {f"{'key' if name in names else 'new'}_{name}": row[name] for name in [*names, *new]}
                for row in changed
            ]
            self._connection.execute(update(table).where(*this_row).values(new), rows)
        if gone:
            keys = [{f"key_{name}": part for name, part in zip(names, key, strict=True)} for key in gone]
            self._connection.execute(delete(table).where(*this_row), keys)

    def _history(self, row: type[Base], owner: str, **where: Any) -> list[dict[str, Any]]:
        """All that an owner's rows with these values were and are, oldest first.

        Beside their columns they tell ``superseded_at``, when a change put another in the place of one, and
        ``by``, who did; both are None for those that hold.
        """
        table = table_of(row)
        names = key_names(table)
        versions = []
        for change, rows in self._journal.past(table, owner):
            for key, before in rows.items():
                if before is None:
                    continue
                full = {**dict(zip(names, key, strict=True)), **before}
                if all(full[name] == value for name, value in where.items()):
                    versions.append({**full, "superseded_at": change["at"], "by": change["by"]})
        holding = self._select(row, **{names[0]: owner}, **where)
        return versions + [{**found, "superseded_at": None, "by": None} for found in holding]

    def _changed_since(self, row: type[Base], owner: str, known: FitSummary) -> list[Values]:
        """An owner's rows that are not what the fit knew: new, replaced or deleted (these as they were).

        Columns that say nothing of what was seen (`NO_NEWS`) make no difference.
        """
        table = table_of(row)
        names = key_names(table)
        holding = {key_of(table, found): found for found in self._select(row, **{names[0]: owner})}
        was: dict[Key, Values | None] = {}
        after = known.knows_change
        if after is None:  # from before changes were kept: what was stored since, too
            after = self._journal.last(known.created_at)
            was = {key: None for key, found in holding.items() if found["stored_at"] > known.created_at}
        journaled: dict[Key, Values | None] = {}
        for _, rows in self._journal.past(table, owner, after=after):
            for key, before in rows.items():
                journaled.setdefault(key, before)
        changed: list[Values] = []
        for key, before in {**was, **journaled}.items():
            now = holding.get(key)
            told = now if before is None else {**dict(zip(names, key, strict=True)), **before}
            if told is not None and (now is None or before is None or _differ(now, told)):
                changed.append(told if now is None else now)
        return changed

    def _check_known(self, row: type[Base], kind: str, keys: Collection[str], **where: Any) -> None:
        """Raise UnknownReference unless each key is one of the grower's."""
        if keys:
            known = {found["key"] for found in self._select(row, **where)}
            unknown = set(keys) - known
            if unknown:
                raise UnknownReference(kind, sorted(unknown), known)

    def _check_unused(self, row: type[Base], kind: str, key: str) -> None:
        """Raise InUse where rows name a thing of the grower, those aside that it owns."""
        users = {
            user_name(table_of(other), found)
            for other, column in references_to(row)
            if key_names(table_of(other))[0] != column
            for found in self._select(other, **{column: key})
        }
        if users:
            raise InUse(kind, key, sorted(users))

    def _store(
        self,
        current: type[Base],
        rows: Sequence[Values],
        *,
        bounds: Sequence[ColumnElement[bool]] = (),
        new_values: Callable[[], Mapping[str, Any]] = dict,
        **scope: Any,
    ) -> Stored:
        """Put rows in the place of those with the same key. One outcome a row.

        ``rows`` lack the columns of ``scope``, the time of storing, and what ``new_values`` gives to a row that
        is new. ``bounds`` may narrow what is read of the table, if they hold for all ``rows``.
        """
        table = table_of(current)
        found = self._connection.execute(
            select(table).where(*self._matching(table, scope), *bounds)
        ).mappings()
        held: dict[Key, Values] = {key_of(table, row): row for row in found}
        wanted: dict[Key, Values | None] = {}
        outcomes: list[Outcome] = []
        replaced: dict[Key, Replaced] = {}
        scope["stored_at"] = self._journal.now
        for row in rows:
            full = {**scope, **row}
            key = key_of(table, full)
            old = wanted.get(key) or held.get(key)
            if old is None:
                outcomes.append("stored")
                wanted[key] = full
                full.update(new_values())
                continue
            new = {name: value for name, value in row.items() if old[name] != value}
            if not new:
                outcomes.append("unchanged")
                continue
            outcomes.append("replaced")
            wanted[key] = {**old, **full}
            if len(replaced) < MOST_REPLACED:
                replaced[key] = Replaced(key[1:], {name: old[name] for name in new}, new)
        self._write(table, wanted, held)
        return Stored(tuple(outcomes), tuple(replaced.values()))


def check_lengths(table: Table, rows: Iterable[Values | None]) -> None:
    """Refuse names and notes that are too long, wherever they come from."""
    if not is_journaled(table):
        return
    for column in table.c:
        if isinstance(column.type, String):
            most = LONGEST_NOTE if isinstance(column.type, Text) else LONGEST_NAME
            for row in rows:
                text = None if row is None else row.get(column.name)
                if text is not None and len(text) > most:
                    problem = f"{text[:40]!r}... has {len(text):,} characters; at most {most:,} are kept"
                    raise BadInput(f"a {column.name} is too long", [Problem(column.name, problem)])


def _differ(one: Values, other: Values) -> bool:
    return any(one[name] != value for name, value in other.items() if name not in NO_NEWS)


def count(outcomes: Iterable[Outcome], replaced: tuple[Replaced, ...] = ()) -> Counts:
    """How many rows went each way."""
    seen = list(outcomes)
    return Counts(seen.count("stored"), seen.count("replaced"), seen.count("unchanged"), replaced)


def pick(row: Values, record: type[Any]) -> dict[str, Any]:
    """The columns of a row that are fields of a record."""
    return {field.name: row[field.name] for field in dataclasses.fields(record)}
