"""New rows into a table, however many."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import (
    ARRAY,
    Column,
    Connection,
    Date,
    Dialect,
    Double,
    Integer,
    Select,
    String,
    Table,
    func,
    insert,
    literal,
    select,
)

from service.store.images import Values
from service.store.tables import UtcDateTime

PLAIN = (String, Integer, Double, Date, UtcDateTime)


def insert_rows(connection: Connection, table: Table, rows: Sequence[Values], *, grower: str) -> None:
    """Insert a grower's rows, which all have the same columns.

    SQLAlchemy binds each value of each row by itself, which takes longer than the database needs for them. So where
    all columns of a table are plain, a whole column is bound at once.
    """
    others = [column for column in table.c if column.name != "grower"]
    if not all(column.name in rows[0] and isinstance(column.type, PLAIN) for column in others):
        connection.execute(insert(table), [{**row, "grower": grower} for row in rows])
        return
    values = {column: [row[column.name] for row in rows] for column in others}
    values[table.c.grower] = [grower] * len(rows)
    if connection.dialect.name == "postgresql":
        connection.execute(insert(table).from_select(list(values), _from_arrays(values)))
        return
    statement = insert(table).compile(dialect=connection.dialect, column_keys=table.c.keys())
    bound = [_bound(column, values[column], connection.dialect) for column in table.c]
    connection.exec_driver_sql(str(statement), list(zip(*bound, strict=True)))


def _from_arrays(values: Mapping[Column[Any], list[Any]]) -> Select[Any]:
    """Rows out of one array a column; what is the same in all rows needs none."""
    same = {column for column, each in values.items() if len(set(each)) == 1}
    arrays = {
        column.name: literal(each, ARRAY(column.type))
        for column, each in values.items()
        if column not in same
    }
    rows = func.unnest(*arrays.values()).table_valued(*arrays).render_derived()
    return select(
        *(
            literal(each[0], column.type) if column in same else rows.c[column.name]
            for column, each in values.items()
        )
    )


def _bound(column: Column[Any], values: list[Any], dialect: Dialect) -> list[Any]:
    """Values as SQLite's driver takes them."""
    if isinstance(column.type, Date):  # the same text as SQLAlchemy's, in a tenth of the time
        return [day if day is None else day.isoformat() for day in values]
    bind = column.type.dialect_impl(dialect).bind_processor(dialect)
    if bind is None:
        return values
    bound = {value: bind(value) for value in set(values)}
    return [bound[value] for value in values]
