"""A service of its own for each test: empty, or with the demo's vineyard, loaded and fitted once."""

from __future__ import annotations

import datetime as dt
import gc
import os
import shutil
from collections.abc import Callable, Generator, Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from models.records import HeatRule
from service import clock
from service.app import create_app
from service.settings import Settings
from service.store import Store
from service.threads import use_one_thread
from service.usecases.demo import load_demo
from service.usecases.fits import FitOptions, make_fit

NEVER_SKIPPED_IN_CI = ("open_data", "postgres", "browser")
SLOW_FIXTURES = frozenset({"demo_database", "workers"})
# Modules that take more than half a minute; where several processes test, these begin, so that none is left for last.
LONGEST = (
    "open_data/test_skill.py",
    "board/test_in_browser.py",
    "store/test_kept_answers.py",
    "docs/test_printed.py",
    "operation/test_kills.py",
    "operation/test_two_workers.py",
    "board/test_a_season_lived.py",
    "store/test_undo_everything.py",
    "api/test_everything.py",
    "board/test_help_pages.py",
    "access/test_every_route.py",
    "operation/test_any_request.py",
)


def pytest_sessionstart() -> None:
    """A process of tests computes as the service does, and leaves the other cores to the other ones."""
    use_one_thread()


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """The longest begin; what needs the outside, the demo's fit, or own processes is no part of the quick loop."""
    if hasattr(config, "workerinput"):
        places = {module: place for place, module in enumerate(LONGEST)}
        items.sort(key=lambda item: places.get("/".join(item.path.parts[-2:]), len(places)))
    for item in items:
        outside = any(item.get_closest_marker(name) for name in NEVER_SKIPPED_IN_CI)
        if outside or SLOW_FIXTURES.intersection(getattr(item, "fixturenames", ())):
            item.add_marker(pytest.mark.slow)


def pytest_collection_finish() -> None:
    """What is loaded by now stays: the garbage collector need not look through it again and again."""
    gc.collect()
    gc.freeze()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """In CI a test that needs open data, a database or a browser fails where it would be skipped."""
    report = yield
    wanted = any(item.get_closest_marker(name) for name in NEVER_SKIPPED_IN_CI)
    skipped = report.skipped and not hasattr(
        report, "wasxfail"
    )  # a goal known to be missed is not a test left out
    if os.environ.get("CI") == "true" and wanted and skipped and call.excinfo is not None:
        report.outcome = "failed"
        report.longrepr = f"skipped in CI: {call.excinfo.value}"
    return report


def client_of(database: Path) -> TestClient:
    """A client on this machine over a SQLite file."""
    return TestClient(
        create_app(Settings(database_url=f"sqlite:///{database}", access="open")),
        base_url="http://127.0.0.1:8000",
        client=("127.0.0.1", 50000),
        raise_server_exceptions=False,
    )


@pytest.fixture
def set_clock(monkeypatch: pytest.MonkeyPatch) -> Callable[[dt.datetime], None]:
    """Lets the clock of all of Capfall stand still at a moment."""
    return lambda moment: monkeypatch.setattr(clock, "now", lambda: moment)


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


@pytest.fixture(scope="session")
def document(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """The API document as it is served; not to be changed."""
    told: dict[str, Any] = (
        client_of(tmp_path_factory.mktemp("document") / "none.db").get("/openapi.json").json()
    )
    return told


@pytest.fixture(scope="session")
def migrated_database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with all tables and nothing in them; not to be changed."""
    path = tmp_path_factory.mktemp("migrated") / "capfall.db"
    store = Store(f"sqlite:///{path}")
    store.migrate()
    store.close()
    return path


@pytest.fixture
def own_database(migrated_database: Path, tmp_path: Path) -> Path:
    """A database of a test's own, without data."""
    copy = tmp_path / "capfall.db"
    shutil.copy(migrated_database, copy)
    return copy


@pytest.fixture(scope="session")
def demo_database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database that holds the demo and a fit of it; not to be changed."""
    path = tmp_path_factory.mktemp("demo") / "demo.db"
    store = Store(f"sqlite:///{path}")
    store.migrate()
    with store.transaction("local") as records:
        load_demo(records)
    make_fit(store, "local", vineyards=None, options=FitOptions(rule=HeatRule()))
    store.close()
    return path


@pytest.fixture
def demo_client(demo_database: Path, tmp_path: Path) -> Iterator[TestClient]:
    """A client of a service of its own that holds the demo."""
    copy = tmp_path / "demo.db"
    shutil.copy(demo_database, copy)
    with client_of(copy) as client:
        yield client
