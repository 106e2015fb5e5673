"""The demo's vineyard in a service: loaded and fitted once, and a copy of it for each test."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

import demo_weather
from models.records import HeatRule
from service.app import create_app
from service.settings import Settings
from service.store import Station, Store, Vineyard
from service.usecases.fits import FitOptions, make_fit

CSV = {"Content-Type": "text/csv"}
STATION, VINEYARD = demo_weather.STATION, demo_weather.VINEYARD


def client_of(database: Path) -> TestClient:
    """A client on this machine over a SQLite file."""
    return TestClient(
        create_app(Settings(database_url=f"sqlite:///{database}", access="open")),
        base_url="http://127.0.0.1:8000",
        client=("127.0.0.1", 50000),
        raise_server_exceptions=False,
    )


@pytest.fixture(scope="session")
def demo_database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database that holds the demo and a fit of it; not to be changed."""
    path = tmp_path_factory.mktemp("demo") / "demo.db"
    files = demo_weather.files()
    station, vineyard = f"/v1/stations/{STATION.key}", f"/v1/vineyards/{VINEYARD.key}"
    with client_of(path) as client:
        store: Store = client.app.state.store  # type: ignore[attr-defined]
        with store.transaction("local") as records:
            records.stations.put(Station(STATION.key, STATION.name, STATION.latitude, STATION.longitude))
            records.vineyards.put(Vineyard(VINEYARD.key, VINEYARD.name, STATION.key, VINEYARD.reach_m))
        uploads = {
            "temperatures.csv": f"{station}/temperatures",
            "outlook.csv": f"{station}/temperatures?kind=outlook&issued_on={demo_weather.AS_OF}",
            "planting.csv": f"{vineyard}/planting",
            "bloom_log.csv": f"{vineyard}/bloom-log",
            "visits.csv": f"{vineyard}/visits",
        }
        for name, path_ in uploads.items():
            answer = client.post(path_, content=files[name], headers=CSV)
            assert answer.status_code == 200, answer.text
        make_fit(store, "local", vineyards=None, options=FitOptions(rule=HeatRule()))
    return path


@pytest.fixture
def demo_client(demo_database: Path, tmp_path: Path) -> Iterator[TestClient]:
    """A client of a service of its own that holds the demo."""
    copy = tmp_path / "demo.db"
    shutil.copy(demo_database, copy)
    with client_of(copy) as client:
        yield client
