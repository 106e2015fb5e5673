"""What older versions kept and answered, as `make_version` recorded it."""

from __future__ import annotations

import gzip
import json
import sqlite3
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent
VERSIONS = tuple(sorted(path.name.removesuffix(".sql.gz") for path in FOLDER.glob("*.sql.gz")))


def restore(version: str, database: Path) -> None:
    """Make a version's SQLite database in a new file."""
    with sqlite3.connect(database) as connection:
        connection.executescript(gzip.decompress((FOLDER / f"{version}.sql.gz").read_bytes()).decode())
    connection.close()


def answers(version: str) -> dict[str, Any]:
    """What the version answered from that database."""
    told: dict[str, Any] = json.loads(gzip.decompress((FOLDER / f"{version}.json.gz").read_bytes()))
    return told
