"""Rows whose columns are bound as wholes lie in the database as those that SQLAlchemy binds one by one."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from sqlalchemy import create_engine, delete, insert, make_url, select

from service.store import Station, Store, Vineyard
from service.store.inserting import insert_rows
from service.store.tables import Base, NewsReaderRow, TemperatureRow, table_of

NOW = dt.datetime(2026, 5, 31, 12, 30, 1, 250, dt.UTC)
DAYS = [
    {"station": "hill", "date": dt.date(2026, 5, 1), "tmin_c": 0.1 + 0.2, "tmax_c": 1 / 3, "stored_at": NOW},
    {"station": "hill", "date": dt.date(1850, 1, 1), "tmin_c": None, "tmax_c": None, "stored_at": NOW},
    {"station": "hill", "date": dt.date(2200, 12, 31), "tmin_c": -5.0, "tmax_c": 1e-300, "stored_at": NOW},
]
NAMES = [
    "ida@farm.example",
    'a "b"',
    "{NULL}",
    "NULL",
    "a\\b, c",
    "O'Hara",
    "%s",
    "%(a)s",
    "?",
    ":a",
    "ñ \u2028",
]
READERS = [
    {"vineyard": "home", "address": name, "since": NOW.replace(year=2026 - number)}
    for number, name in enumerate(NAMES)
]


@pytest.mark.parametrize(("row", "rows"), [(TemperatureRow, DAYS), (NewsReaderRow, READERS)])
@pytest.mark.parametrize("count", [1, None])
def test_as_one_by_one(
    store: Store, url: str, row: type[Base], rows: list[dict[str, Any]], count: int | None
) -> None:
    with store.transaction("O'Hara") as records:
        records.stations.put(Station("hill", "Hill", 31.5, -83.5))
        records.vineyards.put(Vineyard("home", "Home"))
    parsed, table, sent = make_url(url), table_of(row), rows[:count]
    if parsed.drivername == "postgresql":
        parsed = parsed.set(drivername="postgresql+psycopg")
    engine = create_engine(parsed)
    with engine.begin() as connection:
        connection.execute(insert(table), [{**each, "grower": "O'Hara"} for each in sent])
        expected = connection.exec_driver_sql(f"SELECT * FROM {table.name}").all()
        connection.execute(delete(table))
        insert_rows(connection, table, sent, grower="O'Hara")
        found = connection.exec_driver_sql(f"SELECT * FROM {table.name}").all()
        assert sorted(map(repr, found)) == sorted(map(repr, expected))
        assert len(found) == len(connection.execute(select(table)).all()) == len(sent)
    engine.dispose()
