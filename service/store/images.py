"""Keys and rows as plain JSON, to the last digit, for the journal."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cache
from typing import Any

from sqlalchemy import JSON, Boolean, Column, Date, Double, Integer, RowMapping, Table

from service.store.tables import Base, UtcDateTime, table_of

Values = Mapping[str, Any] | RowMapping
Key = tuple[Any, ...]
"""The values of a row's primary key without the grower. The first is the row's owner."""


def is_journaled(table: Table) -> bool:
    """Whether the journal keeps what the table's rows were."""
    return bool(table.info.get("journaled", True))


@cache
def key_columns(table: Table) -> tuple[Column[Any], ...]:
    """The columns of a `Key`."""
    return tuple(column for column in table.primary_key if column.name != "grower")


@cache
def key_names(table: Table) -> tuple[str, ...]:
    """Their names."""
    return tuple(column.name for column in key_columns(table))


def key_of(table: Table, row: Values) -> Key:
    """The key of a row."""
    return tuple([row[name] for name in key_names(table)])


def kind_of_owner(table: Table) -> str:
    """What owns the table's rows: "vineyard", "station", or the thing itself, as "cultivar"."""
    first = key_names(table)[0]
    return table.name.removesuffix("s") if first in ("key", "id") else first


def tables_of(kind: str) -> list[str]:
    """Names of the journaled tables whose rows such a thing owns, its own among them."""
    tables = Base.metadata.tables.values()
    return [table.name for table in tables if is_journaled(table) and kind_of_owner(table) == kind]


@cache
def rows_below(row: type[Base]) -> tuple[type[Base], ...]:
    """The journaled rows that refer to such a row, directly or through others; those first that none refers to."""
    classes = {table_of(mapper.class_): mapper.class_ for mapper in Base.registry.mappers}
    found = [table_of(row)]
    for table in Base.metadata.sorted_tables:  # what is referred to comes before what refers to it
        parents = {reference.referred_table for reference in table.foreign_key_constraints}
        if is_journaled(table) and not parents.isdisjoint(found):
            found.append(table)
    return tuple(classes[table] for table in reversed(found[1:]))


@cache
def references_to(row: type[Base]) -> tuple[tuple[type[Base], str], ...]:
    """The journaled rows that name such a thing, and the column in which they do."""
    classes = {table_of(mapper.class_): mapper.class_ for mapper in Base.registry.mappers}
    return tuple(
        (classes[table], next(name for name in reference.column_keys if name != "grower"))
        for table in Base.metadata.sorted_tables
        for reference in sorted(table.foreign_key_constraints, key=lambda each: tuple(each.column_keys))
        if is_journaled(table) and reference.referred_table is table_of(row)
    )


def user_name(table: Table, row: Values) -> str:
    """What uses something, in words: "block b1 of vineyard home", "the visits of vineyard home"."""
    key = key_of(table, row)
    if "key" not in table.c:
        return f"the {table.name.replace('_', ' ')} of {kind_of_owner(table)} {key[0]}"
    return f"{'the past of ' if row.get('removed') else ''}{row_name(table, key)}"


def row_name(table: Table, key: Key) -> str:
    """A row in words: "visit 2026-05-20 b1 Ida of vineyard home"."""
    thing = table.name.removesuffix("s").replace("_", " ")
    within = name_within(key)
    return f"{thing} {key[0]}" if within is None else f"{thing} {within} of {kind_of_owner(table)} {key[0]}"


def name_within(key: Key) -> str | None:
    """A row's name within its owner: "2026-05-20 b1 Ida"; None where the owner is the row itself."""
    parts = [str(_plain(part)).removeprefix("block:").removeprefix("cultivar:") for part in key[1:]]
    return " ".join(filter(None, parts)) or None


def write_keys(table: Table, keys: Sequence[Key]) -> list[Any]:
    """Keys of one owner without it. Where a day is all that is left, runs of days: "2026-05-01/2026-05-31"."""
    if _are_days(table):
        return list(_runs([key[1] for key in keys]))
    return [[_plain(part) for part in key[1:]] for key in keys]


def read_keys(table: Table, owner: str, told: Iterable[Any]) -> list[Key]:
    """The keys that were written, in the same order."""
    if _are_days(table):
        return [(owner, day) for run in told for day in _days(*map(dt.date.fromisoformat, run.split("/")))]
    rest = key_columns(table)[1:]
    return [(owner, *(_value(column, part) for column, part in zip(rest, key, strict=True))) for key in told]


def write_rows(table: Table, rows: Sequence[Values]) -> dict[str, Any]:
    """What stands beside the keys, column by column."""
    return {
        column.name: [_plain(row[column.name]) for row in rows]
        for column in table.c
        if not column.primary_key
    }


def read_rows(table: Table, told: Mapping[str, Sequence[Any]]) -> list[dict[str, Any]]:
    """What stood beside the keys, row by row; columns that the table no longer has are left out."""
    columns = [(name, table.c[name]) for name in told if name in table.c]
    values = [[_value(column, value) for value in told[name]] for name, column in columns]
    return [
        {name: value for (name, _), value in zip(columns, row, strict=True)}
        for row in zip(*values, strict=True)
    ]


def write_row(row: Values) -> list[Any]:
    """A row's values as plain JSON, in the order of its columns."""
    return [_plain(value) for value in row.values()]


def typed_row(table: Table, told: Mapping[str, Any]) -> dict[str, Any]:
    """A row from plain JSON that anybody may have written; what it leaves out is as by default.

    Raises
    ------
    ValueError
        If a column is not one of the table's, or a value is none of its column's.
    """
    unknown = sorted(told.keys() - set(table.c.keys()))
    if unknown:
        raise ValueError(f"{table.name} have no {', '.join(unknown)}")
    usual = defaults(table)
    return {
        column.name: _typed(column, told.get(column.name, usual.get(column.name)))
        for column in table.c
        if column.name != "grower"
    }


def checked_images(
    table: Table, owner: str, keys: Sequence[Any], before: Mapping[str, Sequence[Any]] | None
) -> tuple[int, Iterator[dict[str, Any]]]:
    """How many rows of one owner a change tells of, and those that were there before, as plain JSON.

    Raises
    ------
    ValueError
        If the keys are none of the table's, or other rows are told than theirs.
    """
    count = len(keys)
    if _are_days(table):
        ends = [[dt.date.fromisoformat(end) for end in run.split("/")] for run in keys]
        lengths = [(last - first).days + 1 for first, last in ends]
        if min(lengths, default=1) < 1:
            raise ValueError("a run of days ends before it begins")
        count = sum(lengths)
    else:
        rest = key_columns(table)[1:]
        for key in keys:
            for column, part in zip(rest, key, strict=True):
                _typed(column, part)
    if before is None:
        return count, iter(())
    if not before or any(len(values) != count for values in before.values()):
        raise ValueError(f"{count} rows were changed, and others are told")
    return count, _images(table, owner, keys, before)


def _images(
    table: Table, owner: str, keys: Sequence[Any], before: Mapping[str, Sequence[Any]]
) -> Iterator[dict[str, Any]]:
    names = key_names(table)
    for place, key in enumerate(read_keys(table, owner, keys)):
        told = {name: values[place] for name, values in before.items() if name in table.c}
        parts = {name: _plain(part) for name, part in zip(names, key, strict=True)}
        yield {**told, **parts}


def defaults(table: Table) -> dict[str, Any]:
    """What a row holds where nothing is said."""
    return {
        column.name: None if column.default is None else getattr(column.default, "arg", None)
        for column in table.c
        if not column.primary_key
    }


def _are_days(table: Table) -> bool:
    rest = key_columns(table)[1:]
    return len(rest) == 1 and isinstance(rest[0].type, Date)


def _runs(days: Sequence[dt.date]) -> Iterator[str]:
    """Days in a row, in the order given."""
    start = end = None
    for day in days:
        if start is None or end is None:
            start = end = day
        elif day - end == dt.timedelta(days=1):
            end = day
        else:
            yield f"{start}/{end}"
            start = end = day
    if start is not None:
        yield f"{start}/{end}"


def _days(first: dt.date, last: dt.date) -> list[dt.date]:
    return [first + dt.timedelta(days=after) for after in range((last - first).days + 1)]


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, dt.date) else value  # a datetime is a date too


def _value(column: Column[Any], told: Any) -> Any:
    if told is None:
        return None
    match column.type:
        case Date():
            return dt.date.fromisoformat(told)
        case UtcDateTime():
            return dt.datetime.fromisoformat(told)
    return told


MOST = 2**31  # of a whole number, on both sides: what PostgreSQL holds


def _typed(column: Column[Any], told: Any) -> Any:
    """A value as its column holds it. Raises ValueError, with the column's name."""
    if told is None:
        if not column.nullable:
            raise ValueError(f"{column.name} is missing")
        return None
    match column.type:
        case Date() | UtcDateTime():
            value = _value(column, told) if isinstance(told, str) else None
            fits = not isinstance(value, dt.datetime) or value.tzinfo is not None
        case JSON():
            value, fits = told, isinstance(told, dict | list)
        case Boolean():
            value, fits = told, isinstance(told, bool)
        case Integer():
            value, fits = told, type(told) is int and -MOST <= told < MOST
        case Double():
            value = float(told) if type(told) in (int, float) and abs(told) < 1e300 else math.nan
            fits = math.isfinite(value)
        case _:
            value, fits = told, isinstance(told, str)
    if value is None or not fits:
        raise ValueError(f"{column.name} cannot be {str(told)[:40]!r}")
    return value
