"""The database behind the store, and its transactions."""

from __future__ import annotations

import copy
import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Self

from sqlalchemy import URL, Connection, Engine, QueuePool, create_engine, event, make_url, select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import (
    ArgumentError,
    DatabaseError,
    DataError,
    DBAPIError,
    DisconnectionError,
    InterfaceError,
    OperationalError,
    SQLAlchemyError,
)
from sqlalchemy.exc import TimeoutError as NoConnection

from models.errors import BadInput, Problem
from service import clock
from service.store.access import Access
from service.store.errors import StoreError, Unavailable
from service.store.job_queue import JobQueue
from service.store.journal import Journal
from service.store.migrating import upgrade
from service.store.repositories import Repositories
from service.store.tables import GrowerRow, table_of

WAIT_SECONDS = 10.0
"""How long a transaction waits for another one, or for the database, before it gives up. [s]"""

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
        self._file = sqlite_file(url)
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
        """Bring the tables to the newest form. Processes that start at once wait for each other.

        A SQLite file is made here and nowhere else: one that vanishes later is missed, not replaced by an empty one.
        """
        if self._file is not None and not self._file.exists():
            try:
                self._file.touch()
            except OSError as error:
                raise Unavailable(f"{self._file} cannot be made: {error.strerror}") from error
        with _told(), self._migrator.begin() as connection:
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

        Raises Unavailable (the database is away, locked or full), BadInput (a value that it cannot hold).
        """
        engine = self._reader if read_only else self._engine
        with _told(read_only=read_only), engine.connect() as connection, connection.begin() as transaction:
            if not read_only:
                _claim(connection, grower)
            journal = Journal(connection, grower, by or self._by or grower)
            yield Repositories(connection, grower, journal)
            if preview:
                transaction.rollback()
            else:
                journal.close()

    @contextmanager
    def job_queue(self, *, read_only: bool = False) -> Iterator[JobQueue]:
        """All growers' jobs, in one transaction. Raises Unavailable."""
        with _told(), (self._reader if read_only else self._engine).begin() as connection:
            yield JobQueue(connection)

    @contextmanager
    def access(self, *, read_only: bool = False) -> Iterator[Access]:
        """One transaction on who may come in: the growers, and the keys of all of them. Raises Unavailable."""
        with _told(), (self._reader if read_only else self._engine).begin() as connection:
            yield Access(connection)

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
        engine = create_engine(
            url,
            pool_pre_ping=True,
            hide_parameters=True,
            connect_args={"connect_timeout": round(WAIT_SECONDS)},
        )
    except ModuleNotFoundError as error:
        raise StoreError("PostgreSQL needs its driver: pip install 'capfall[postgres]'") from error

    @event.listens_for(engine, "begin")
    def _on_begin(connection: Connection) -> None:
        wait = 0 if connection.get_execution_options().get("sqlite_begin") == "migrate" else WAIT_SECONDS
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{wait:g}s'")

    return engine


def sqlite_file(url: str) -> Path | None:
    """The file of a SQLite database; None of one in memory, or elsewhere."""
    parsed = make_url(url)
    in_memory = parsed.database in (None, "", ":memory:")
    if parsed.get_backend_name() != "sqlite" or in_memory:
        return None
    return Path(str(parsed.database)).absolute()


def _sqlite_engine(url: URL) -> Engine:
    options: dict[str, Any] = {}
    connect_args: dict[str, Any] = {"timeout": WAIT_SECONDS, "check_same_thread": False}
    file = sqlite_file(url.render_as_string(hide_password=False))
    if file is None:
        # The database lives in its connection: there is one, and threads take turns with it.
        options = {"poolclass": QueuePool, "pool_size": 1, "max_overflow": 0, "pool_timeout": WAIT_SECONDS}
    else:
        options = {"creator": lambda: sqlite3.connect(f"{file.as_uri()}?mode=rw", uri=True, **connect_args)}
    engine = create_engine(url, connect_args=connect_args, hide_parameters=True, **options)

    @event.listens_for(engine, "connect")
    def _on_connect(connection: Any, record: Any) -> None:
        connection.isolation_level = None  # the driver's own BEGIN comes late, and not before DDL
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")  # what was acknowledged outlives a loss of power
        record.info["file"] = _identity(file)

    @event.listens_for(engine, "begin")
    def _on_begin(connection: Connection) -> None:
        for statement in SQLITE_BEGIN[connection.get_execution_options().get("sqlite_begin", "write")]:
            connection.exec_driver_sql(statement)

    # A connection goes on with the file that it has opened, even if that was removed or replaced since.
    @event.listens_for(engine, "checkout")
    def _on_checkout(_connection: Any, record: Any, _proxy: Any) -> None:
        if record.info["file"] != _identity(file):
            raise DisconnectionError("the database file was removed or replaced")

    @event.listens_for(engine, "commit")
    def _on_commit(connection: Connection) -> None:
        if connection.info["file"] != _identity(file):
            raise Unavailable("the database file was removed or replaced")

    return engine


def _identity(file: Path | None) -> tuple[int, int] | None:
    """Which file a path leads to; None where it leads to none."""
    try:
        found = os.stat(file) if file is not None else None
    except OSError:
        return None
    return None if found is None else (found.st_dev, found.st_ino)


@contextmanager
def _told(*, read_only: bool = False) -> Iterator[None]:
    """Errors of the database as those that the store raises on purpose; faults of the code stay what they are."""
    try:
        yield
    except DataError as error:
        problem = "holds a character or a number that the database cannot"
        raise BadInput("a value cannot be stored", [Problem("request", problem)]) from error
    except NoConnection as error:
        raise Unavailable(str(error)) from error
    except DBAPIError as error:
        # A damaged SQLite file is a plain DatabaseError, of which most others are special cases.
        away = isinstance(error, OperationalError | InterfaceError) or type(error) is DatabaseError
        writes_in_a_reader = (
            read_only and getattr(error.orig, "sqlite_errorcode", 0) == sqlite3.SQLITE_READONLY
        )
        if not away or writes_in_a_reader:
            raise
        raise Unavailable(str(error.orig).partition("\n")[0]) from error
