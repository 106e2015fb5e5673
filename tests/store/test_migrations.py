"""The history of the tables runs both ways, and ends at the tables that the code uses."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import Connection, create_engine, inspect, make_url

from service.store import Store
from service.store.migrating import downgrade, upgrade
from service.store.tables import Base


@contextmanager
def connected(url: str) -> Iterator[Connection]:
    parsed = make_url(url)
    if parsed.drivername == "postgresql":
        parsed = parsed.set(drivername="postgresql+psycopg")
    engine = create_engine(parsed)
    with engine.begin() as connection:
        yield connection
    engine.dispose()


def tables_in(connection: Connection) -> set[str]:
    return set(inspect(connection).get_table_names()) - {"alembic_version"}


def test_up_down_and_up_again(url: str) -> None:
    for _ in range(2):
        with connected(url) as connection:
            upgrade(connection)
        with connected(url) as connection:
            assert tables_in(connection) == set(Base.metadata.tables)
            downgrade(connection, "base")
        with connected(url) as connection:
            assert tables_in(connection) == set()


def test_the_newest_step_has_the_tables_of_the_code(store: Store, url: str) -> None:
    assert store.is_answering()
    with connected(url) as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []


def test_every_table_says_whose_its_rows_are() -> None:
    for name, table in Base.metadata.tables.items():
        assert name == "growers" or "grower" in table.c
        assert name == "growers" or any("grower" in key.column_keys for key in table.foreign_key_constraints)


def test_a_store_without_tables_does_not_answer_and_migrating_twice_is_harmless(url: str) -> None:
    store = Store(url)
    assert not store.is_answering()
    store.migrate()
    store.migrate()
    assert store.is_answering()
    store.close()


@pytest.mark.slow
def test_processes_that_start_at_once_migrate_once(url: str) -> None:
    start = "import sys; from service.store import Store; Store(sys.argv[1]).migrate()"
    processes = [
        subprocess.Popen([sys.executable, "-c", start, url], stderr=subprocess.PIPE, text=True)
        for _ in range(3)
    ]
    errors = [process.communicate(timeout=60)[1] for process in processes]
    assert [process.returncode for process in processes] == [0, 0, 0], errors
    with connected(url) as connection:
        assert tables_in(connection) == set(Base.metadata.tables)
