"""A service of its own for each test: a fresh SQLite file, asked from the machine itself."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from service.app import create_app
from service.settings import Settings


@pytest.fixture
def settings(own_database: Path) -> Settings:
    """Open access over a new database."""
    return Settings(database_url=f"sqlite:///{own_database}", access="open", max_upload_mb=20)


@pytest.fixture
def client(settings: Settings) -> Iterator[TestClient]:
    """A client on this machine; an unexpected error comes back as an answer, as it would from a server."""
    with TestClient(
        create_app(settings),
        base_url="http://127.0.0.1:8000",
        client=("127.0.0.1", 50000),
        raise_server_exceptions=False,
    ) as client:
        yield client
