"""The database behind the store, and its transactions."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Self

from sqlalchemy import URL, Connection, Engine, QueuePool, create_engine, event, make_url, select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import ArgumentError, SQLAlchemyError

from service import clock
from service.store.access import Access
from service.store.errors import StoreError
from service.store.journal import Journal
from service.store.migrating import upgrade
from service.store.repositories import Repositories
from service.store.results import end_lost_jobs
from service.store.tables import GrowerRow, table_of

WAIT_SECONDS = 30.0
"""How long a transaction waits for another one before it gives up. [s]"""

SQLITE_BEGIN = {
    "write": ("PRAGMA foreign_keys = ON", "PRAGMA query_only = OFF", "BEGIN IMMEDIATE"),
    "read": ("PRAGMA foreign_keys = ON", "PRAGMA query_only = ON", "BEGIN"),
    # A migration rebuilds tables that others refer to, and checks the references at its end.
    "migrate": ("PRAGMA foreign_keys = OFF", "PRAGMA query_only = OFF", "BEGIN IMMEDIATE"),
}
"""How a transaction starts on SQLite: both settings can only be changed outside of one.

A writer takes the write lock at once. One that took it after reading would fail, not wait, if another had
written in between.
"""


class Store:
    """The growers' data in the database that a URL names.

    Parameters
    ----------
    url : str
        ``sqlite:///file``, ``sqlite://`` (in memory, gone with the store) or ``postgresql://...``.

    Raises
    ------
    StoreError
        If the URL names another kind of database, or its driver is not installed.
    """

    def __init__(self, url: str) -> None:
        self._engine = _engine(url)
        reading: dict[str, Any] = {"sqlite_begin": "read"}
        if self._engine.dialect.name == "postgresql":
            reading = {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
        self._reader = self._engine.execution_options(**reading)
        self._migrator = self._engine.execution_options(sqlite_begin="migrate")
        self._by: str | None = None

    def acting(self, by: str) -> Self:
        """The same store; what is written through it was written by somebody, as the name of a key."""
        other = copy.copy(self)
        other._by = by
        return other

    def migrate(self) -> None:
        """Bring the tables to the newest form. Processes that start at once wait for each other."""
        with self._migrator.begin() as connection:
            upgrade(connection)

    @contextmanager
    def transaction(
        self, grower: str, *, read_only: bool = False, by: str | None = None, preview: bool = False
    ) -> Iterator[Repositories]:
        """One transaction on one grower's data: committed at the end, rolled back on an error or for a ``preview``.

        What it writes is one change in the journal; ``by`` says who writes; else it is who acts (`acting`), or
        the grower.
        Writers of one grower wait for each other. ``read_only`` ones wait for nobody, see one moment of the
        data throughout, and cannot write: take them for all that only reads, most of all where a model runs
        long (in a database in memory all take turns). The transactions of one thread must not be nested.
        An unknown grower is made by the first transaction that may write.
        """
        engine = self._reader if read_only else self._engine
        with engine.connect() as connection, connection.begin() as transaction:
            if not read_only:
                _claim(connection, grower)
            journal = Journal(connection, grower, by or self._by or grower)
            yield Repositories(connection, grower, journal)
            if preview:
                transaction.rollback()
            else:
                journal.close()

    @contextmanager
    def access(self, *, read_only: bool = False) -> Iterator[Access]:
        """One transaction on who may come in: the growers, and the keys of all of them."""
        with (self._reader if read_only else self._engine).begin() as connection:
            yield Access(connection)

    def end_lost_jobs(self, message: str) -> None:
        """Mark as failed what was left waiting or running by a service that is no more."""
        with self._engine.begin() as connection:
            end_lost_jobs(connection, message)

    def is_answering(self) -> bool:
        """Whether the database can be reached and holds the tables."""
        try:
            with self._reader.begin() as connection:
                connection.execute(select(table_of(GrowerRow)).limit(1)).all()
        except SQLAlchemyError:
            return False
        return True

    def close(self) -> None:
        """Let go of all connections."""
        self._engine.dispose()


def _claim(connection: Connection, grower: str) -> None:
    """Make the grower if need be, and hold its row, so that the grower's writers go one after the other."""
    table = table_of(GrowerRow)
    new = {"key": grower, "created_at": clock.now()}
    if connection.dialect.name == "postgresql":
        connection.execute(postgresql.insert(table).values(new).on_conflict_do_nothing())
        connection.execute(select(table.c.key).where(table.c.key == grower).with_for_update())
    else:
        connection.execute(sqlite.insert(table).values(new).on_conflict_do_nothing())


def _engine(url: str) -> Engine:
    try:
        parsed = make_url(url)
    except ArgumentError:
        raise StoreError("the database URL cannot be read; write one such as sqlite:///capfall.db") from None
    if parsed.drivername in ("postgresql", "postgres", "postgresql+psycopg"):
        return _postgres_engine(parsed.set(drivername="postgresql+psycopg"))
    if parsed.get_backend_name() == "sqlite":
        return _sqlite_engine(parsed)
    raise StoreError(f"no store on {parsed.drivername}; the URL must start with sqlite:// or postgresql://")


def _postgres_engine(url: URL) -> Engine:
    try:
        return create_engine(url, pool_pre_ping=True)
    except ModuleNotFoundError as error:
        raise StoreError("PostgreSQL needs its driver: pip install 'capfall[postgres]'") from error


def _sqlite_engine(url: URL) -> Engine:
    options: dict[str, Any] = {}
    if url.database in (None, "", ":memory:"):
        # The database lives in its connection: there is one, and threads take turns with it.
        options = {"poolclass": QueuePool, "pool_size": 1, "max_overflow": 0, "pool_timeout": WAIT_SECONDS}
    engine = create_engine(url, connect_args={"timeout": WAIT_SECONDS, "check_same_thread": False}, **options)

    @event.listens_for(engine, "connect")
    def _on_connect(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # the driver's own BEGIN comes late, and not before DDL
        connection.execute("PRAGMA journal_mode = WAL")

    @event.listens_for(engine, "begin")
    def _on_begin(connection: Connection) -> None:
        for statement in SQLITE_BEGIN[connection.get_execution_options().get("sqlite_begin", "write")]:
            connection.exec_driver_sql(statement)

    return engine
