"""A second grower with the same data, for tests of what goes over all of them."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path


def copy_grower(database: Path, grower: str, to: str) -> None:
    """Give a new grower all rows of another one; the store has no such step."""
    with closing(sqlite3.connect(database)) as connection, connection:
        connection.execute(
            "INSERT INTO growers SELECT ?, created_at FROM growers WHERE key = ?", (to, grower)
        )
        tables = [
            name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
        ]
        for table in tables:
            columns = [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]
            if "grower" in columns:
                taken = ", ".join("?" if name == "grower" else f'"{name}"' for name in columns)
                named = ", ".join(f'"{name}"' for name in columns)
                connection.execute(
                    f"INSERT INTO {table} ({named}) SELECT {taken} FROM {table} WHERE grower = ?",
                    (to, grower),
                )
