"""A migrated store on each kind of database. PostgreSQL needs the server that CAPFALL_TEST_POSTGRES names."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import create_engine, make_url, text

from service.store import Store


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """An empty database of the test's own: a new file, or a new schema that is dropped afterwards."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'store.db'}"
        return
    server = os.environ.get("CAPFALL_TEST_POSTGRES")
    if not server:
        pytest.skip("CAPFALL_TEST_POSTGRES names no PostgreSQL server")
    schema = f"capfall_test_{uuid.uuid4().hex}"
    server_url = make_url(server).set(drivername="postgresql+psycopg")
    admin = create_engine(server_url)
    with admin.begin() as connection:
        connection.execute(text(f"CREATE SCHEMA {schema}"))
    own = server_url.update_query_dict({"options": f"-csearch_path={schema}"})
    yield own.set(drivername="postgresql").render_as_string(hide_password=False)
    with admin.begin() as connection:
        connection.execute(text(f"DROP SCHEMA {schema} CASCADE"))
    admin.dispose()


@pytest.fixture
def store(url: str) -> Iterator[Store]:
    """A store at the newest step."""
    made = Store(url)
    made.migrate()
    yield made
    made.close()
