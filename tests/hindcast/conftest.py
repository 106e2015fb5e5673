"""What these tests share: processes to compute in, and a service without data."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from service.workers import Workers
from tests.conftest import client_of


@pytest.fixture(scope="session")
def workers() -> Iterator[Workers]:
    """Two processes."""
    with Workers(2) as workers:
        yield workers


@pytest.fixture
def client(own_database: Path) -> Iterator[TestClient]:
    """A client of a service without data."""
    with client_of(own_database) as client:
        yield client
