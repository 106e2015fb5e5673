"""All that a grower owns, keys aside: taken out, put into a grower that has nothing, deleted for good."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from sqlalchemy import Table, delete, func, insert, select

from models.errors import BadInput, Problem
from service.store.errors import InUse, NotEmpty
from service.store.images import Values, checked_images, is_journaled, key_of, typed_row
from service.store.owned import OwnedByGrower, check_lengths
from service.store.results import UNFINISHED
from service.store.tables import Base, JobRow, KeyGrowerRow, table_of

MOST_FAULTS = 20

Rows = Mapping[str, Sequence[Values]]
"""By table."""


class Everything(OwnedByGrower):
    """Rows as they are stored, the journal's too."""

    def rows(self) -> Iterator[tuple[str, tuple[Values, ...]]]:
        """Table by table, sorted by key, without the grower; of jobs those that have ended."""
        for table in owned_tables():
            columns = [column for column in table.c if column.name != "grower"]
            query = select(*columns).where(table.c.grower == self._grower)
            if table is table_of(JobRow):
                query = query.where(table.c.state.not_in(UNFINISHED))
            found = self._connection.execute(query).mappings().all()
            yield table.name, tuple(sorted(found, key=lambda row: key_of(table, row)))

    def held(self) -> dict[str, int]:
        """How many rows there are, by table; those without any are left out."""
        counts = {}
        for table in owned_tables():
            query = select(func.count()).select_from(table).where(table.c.grower == self._grower)
            counts[table.name] = self._connection.execute(query).scalar_one()
        return {name: count for name, count in sorted(counts.items()) if count}

    def put(self, rows: Rows) -> None:
        """Store rows as they were taken out. That is no change: it is undone by `delete`.

        Raises NotEmpty (what is in the way), BadInput (rows that are there twice, or refer to none).
        """
        held = self.held()
        if held:
            raise NotEmpty(self._grower, held)
        _check_references(rows)
        for table in owned_tables():
            wanted = rows.get(table.name)
            if wanted:
                self._connection.execute(insert(table), [{**row, "grower": self._grower} for row in wanted])

    def delete(self) -> dict[str, int]:
        """Delete all rows for good, and tell how many there were. Raises InUse (a job that has not ended)."""
        jobs = [row["id"] for state in UNFINISHED for row in self._select(JobRow, state=state)]
        if jobs:
            raise InUse("grower", self._grower, [f"job {id}, which has not ended" for id in sorted(jobs)])
        held = self.held()
        for table in reversed(owned_tables()):
            self._connection.execute(delete(table).where(table.c.grower == self._grower))
        return held


def owned_tables() -> list[Table]:
    """The tables whose rows are of one grower, but for who holds a key; after those that they refer to."""
    return [
        table
        for table in Base.metadata.sorted_tables
        if "grower" in table.c and table is not table_of(KeyGrowerRow)
    ]


def table_names() -> frozenset[str]:
    """Names of the tables that an export holds."""
    return frozenset(table.name for table in owned_tables())


def read_row(name: str, told: Mapping[str, Any]) -> dict[str, Any]:
    """A row of a table from plain JSON that anybody may have written. Raises ValueError."""
    table = Base.metadata.tables[name]
    row = typed_row(table, told)
    check_lengths(table, [row])
    return row


def read_images(row: Values) -> tuple[int, Iterator[dict[str, Any]]]:
    """How many rows a row of ``change_rows`` tells of, and those that were there before. Raises ValueError."""
    table = Base.metadata.tables.get(row["of_table"])
    if table not in owned_tables() or not is_journaled(table):
        raise ValueError("of_table is none whose changes are kept")
    count, before = checked_images(table, row["owner"], row["keys"], row["before"])
    return count, (read_row(table.name, image) for image in before)


def _check_references(rows: Rows) -> None:
    faults: list[Problem] = []
    keys: dict[str, set[tuple[Any, ...]]] = {}
    for table in owned_tables():
        keys[table.name] = seen = set()
        for row in rows.get(table.name, ()):
            key = key_of(table, row)
            if key in seen:
                faults.append(Problem(table.name, f"{_told(key)} is there twice"))
            seen.add(key)
            for reference in table.foreign_key_constraints:
                of = tuple(row[name] for name in reference.column_keys if name != "grower")
                if of and None not in of and of not in keys[reference.referred_table.name]:
                    parent = reference.referred_table.name
                    faults.append(Problem(table.name, f"{_told(key)} needs {_told(of)} of {parent}"))
    if faults:
        raise BadInput("the export does not hold together", faults[:MOST_FAULTS])


def _told(key: tuple[Any, ...]) -> str:
    return " ".join(str(part)[:63] for part in key)
