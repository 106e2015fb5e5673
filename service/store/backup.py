"""Copies of a SQLite database: made while it serves, looked over, and put back. PostgreSQL has its own tools."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from service import clock
from service.store.engine import WAIT_SECONDS, sqlite_file
from service.store.errors import StoreError
from service.store.migrating import revisions
from service.store.tables import Base


class NoBackup(StoreError):
    """A copy cannot be made, or what is there is no whole database of Capfall."""


@dataclass(frozen=True)
class Checked:
    """What was found in a database: the step of its tables, rows by table, and faults."""

    revision: str | None
    rows: dict[str, int]
    faults: tuple[str, ...]


def back_up(url: str, to: Path) -> Checked:
    """Copy the database as it stands at one moment, while others write, into one file.

    The file appears, or takes the place of an older one, once it is whole and was looked over.

    Raises NoBackup.
    """
    unfinished = to.with_name(f"{to.name}.unfinished")
    try:
        if not to.absolute().parent.is_dir():
            raise NoBackup(f"{to} cannot be written: there is no folder {to.parent}")
        file = database_file(url)
        with (
            _told(f"{file} cannot be copied to {to}"),
            _opened(file) as source,
            closing(sqlite3.connect(unfinished)) as copy,
        ):
            source.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")  # so that one file holds all
        found = check(unfinished)
        if found.faults:
            raise NoBackup(f"the copy has faults: {'; '.join(found.faults)}")
        with unfinished.open("rb") as written:
            os.fsync(written.fileno())
        unfinished.replace(to)
    except OSError as error:
        raise NoBackup(f"{to} cannot be written: {error.strerror}") from error
    finally:
        unfinished.unlink(missing_ok=True)
    return found


def restore(url: str, backup: Path) -> Path | None:
    """Put a backup in the place of what the database holds, all of it or nothing; a service may run meanwhile.

    Returns
    -------
    Path or None
        Where what was there before is kept; None if there was nothing.

    Raises NoBackup.
    """
    found = check(backup)
    if found.faults:
        raise NoBackup(f"{backup} has faults: {'; '.join(found.faults)}")
    file = database_file(url)
    kept = None
    if file.exists():
        kept = file.with_name(f"{file.name}.before-{clock.now():%Y%m%dT%H%M%SZ}")
        back_up(url, kept)
    with (
        _told(f"{backup} cannot be copied to {file}"),
        _opened(backup) as source,
        closing(sqlite3.connect(file, timeout=WAIT_SECONDS)) as target,
    ):
        source.backup(target)
        target.execute("PRAGMA journal_mode = WAL")
    return kept


def check(file: Path) -> Checked:
    """Look a database over: its pages, its references, whether this version knows its tables, and what it holds.

    Raises NoBackup (it cannot be read at all).
    """
    with _told(f"{file} cannot be read"), _opened(file) as found:
        faults = [said for (said,) in found.execute("PRAGMA integrity_check") if said != "ok"]
        faults += [
            f"row {row} of {table} refers to nothing in {parent}"
            for table, row, parent, _ in found.execute("PRAGMA foreign_key_check")
        ]
        tables = {name for (name,) in found.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
        revision = None
        if "alembic_version" in tables:
            revision = next(
                (step for (step,) in found.execute("SELECT version_num FROM alembic_version")), None
            )
        if revision is None:
            faults.append("it holds no tables of Capfall")
        elif revision not in revisions():
            faults.append(
                f"its tables are of step {revision}, which this version does not know: it is of a newer one"
            )
        known = sorted(tables & Base.metadata.tables.keys())
        rows = {name: int(found.execute(f"SELECT count(*) FROM {name}").fetchone()[0]) for name in known}
    return Checked(revision, rows, tuple(faults))


def database_file(url: str) -> Path:
    """The file of the database that a URL names. Raises NoBackup (it is no file)."""
    file = sqlite_file(url)
    if file is None:
        raise NoBackup(
            "only SQLite files are copied here; for PostgreSQL use pg_dump and pg_restore (/help/running)"
        )
    return file


@contextmanager
def _opened(file: Path) -> Iterator[sqlite3.Connection]:
    """To be read alone; a file that is not there is not made."""
    if not file.is_file():
        raise NoBackup(f"there is no file {file}")
    with closing(sqlite3.connect(file, timeout=WAIT_SECONDS)) as connection:
        connection.execute("PRAGMA query_only = ON")
        yield connection


@contextmanager
def _told(what: str) -> Iterator[None]:
    try:
        yield
    except sqlite3.Error as error:
        raise NoBackup(f"{what}: {error}") from error
