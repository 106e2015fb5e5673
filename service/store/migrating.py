"""Migrations, run from within the package: no configuration file is needed where Capfall is installed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, text

from service.store.errors import StoreError

if TYPE_CHECKING:
    from alembic.config import Config

FOLDER = Path(__file__).parent / "migrations"

MIGRATION_LOCK = 2_026_0616
"""Any number that nobody else takes in the same PostgreSQL database."""


def upgrade(connection: Connection, revision: str = "head") -> None:
    """Bring the tables up to a revision, within the connection's transaction."""
    from alembic import command  # loaded where tables are made

    _wait_for_other_migrations(connection)
    command.upgrade(_config(connection), revision)
    _check_references(connection)


def downgrade(connection: Connection, revision: str) -> None:
    """Bring the tables down to a revision (``base``: none at all), within the connection's transaction."""
    from alembic import command

    _wait_for_other_migrations(connection)
    command.downgrade(_config(connection), revision)
    _check_references(connection)


def revise(connection: Connection, message: str) -> None:
    """Write the next step from what the tables in ``service.store.tables`` have and the database has not."""
    from alembic import command

    command.revision(_config(connection), message, autogenerate=True, rev_id=f"{_steps() + 1:04d}")


def revisions() -> frozenset[str]:
    """All steps that this version knows."""
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", str(FOLDER).replace("%", "%%"))
    return frozenset(step.revision for step in ScriptDirectory.from_config(config).walk_revisions())


def _steps() -> int:
    return len(list((FOLDER / "versions").glob("[0-9]*.py")))


def _config(connection: Connection) -> Config:
    from alembic.config import Config

    config = Config(attributes={"connection": connection})
    config.set_main_option("script_location", str(FOLDER).replace("%", "%%"))
    return config


def _wait_for_other_migrations(connection: Connection) -> None:
    """On SQLite the transaction has the write lock already."""
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": MIGRATION_LOCK})


def _check_references(connection: Connection) -> None:
    """SQLite does not look at references while a migration runs."""
    if connection.dialect.name == "sqlite" and connection.exec_driver_sql("PRAGMA foreign_key_check").first():
        raise StoreError("the migration left rows that refer to nothing; it was rolled back")
