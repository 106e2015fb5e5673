"""Services for the board's tests, and one browser for each module of them."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.board.scenes import build
from tests.board.serving import Served, chromium, served, why_no_browser

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Chromium; a test without it is skipped."""
    lacking = why_no_browser()
    if lacking is not None:
        pytest.skip(lacking)
    with chromium() as running:
        yield running


@pytest.fixture
def fresh_service(own_database: Path) -> Iterator[Served]:
    """A service that knows nothing yet."""
    with served(own_database) as service:
        yield service


@pytest.fixture
def demo_service(demo_database: Path, tmp_path: Path) -> Iterator[Served]:
    """A service of its own that holds the demo."""
    copy = tmp_path / "demo.db"
    shutil.copy(demo_database, copy)
    with served(copy) as service:
        yield service


@pytest.fixture
def scene_service(scene: str, tmp_path: Path) -> Iterator[Served]:
    """A service that holds the scene that a test names."""
    database = tmp_path / f"{scene}.db"
    build(scene, database)
    with served(database) as service:
        yield service
