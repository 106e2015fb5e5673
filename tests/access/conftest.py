"""A service that asks for keys, over each kind of database, and two growers."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from typing import Any

import pytest
from fastapi.testclient import TestClient

from service.app import create_app
from service.settings import Settings
from service.store import Store
from service.store.access import Key, Role
from service.usecases.keys import make_key
from service.web import access
from tests.store.conftest import url

__all__ = ["url"]

HOST = "https://vines.example"
OWN_PAGE = {"Origin": HOST}


class Door:
    """Makes growers, keys and clients of one service."""

    def __init__(self, url: str, stack: ExitStack) -> None:
        self.store = Store(url)
        self.store.migrate()
        self.app = create_app(Settings(database_url=url, access="keys"))
        stack.callback(self.store.close)
        stack.enter_context(self.client())  # runs while the others ask

    def key(self, name: str, role: Role, *growers: str, **more: Any) -> tuple[Key, str]:
        """A key and its secret; growers that are not there are made."""
        with self.store.access() as door:
            for grower in set(growers) - set(door.growers()):
                door.add_grower(grower)
            return make_key(door, name=name, role=role, growers=growers, **more)

    def client(self, secret: str | None = None, *, host: str = HOST) -> TestClient:
        """One far away, with a key in its headers or without."""
        headers = {} if secret is None else {"Authorization": f"Bearer {secret}"}
        return TestClient(
            self.app,
            base_url=host,
            client=("203.0.113.9", 50000),
            headers=headers,
            raise_server_exceptions=False,
            follow_redirects=False,
        )

    def client_of(self, role: Role, *growers: str, name: str = "Ida") -> TestClient:
        """One with a key of its own."""
        return self.client(self.key(name, role, *growers)[1])


@pytest.fixture
def door(url: str) -> Iterator[Door]:
    """The service on a migrated database of each kind."""
    with ExitStack() as stack:
        yield Door(url, stack)


@pytest.fixture
def quick_refusals(monkeypatch: pytest.MonkeyPatch) -> None:
    """Wrong keys wait hardly at all."""
    monkeypatch.setattr(access, "WRONG_KEY_SECONDS", 0.001)
