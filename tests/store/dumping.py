"""All that a database holds, to compare with what it held before."""

from __future__ import annotations

from typing import Any

from sqlalchemy import create_engine, make_url, select

from service.store.tables import Base

JOURNAL = ("changes", "change_rows")


def dump(url: str, *, without: tuple[str, ...] = JOURNAL) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table, sorted; the journal left out."""
    parsed = make_url(url)
    if parsed.drivername == "postgresql":
        parsed = parsed.set(drivername="postgresql+psycopg")
    engine = create_engine(parsed)
    with engine.connect() as connection:
        found = {
            name: sorted((tuple(row) for row in connection.execute(select(table))), key=repr)
            for name, table in Base.metadata.tables.items()
            if name not in without
        }
    engine.dispose()
    return found
