"""A file is read before the transaction that stores it: while a long one is read, others write."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from fastapi.testclient import TestClient

from service.usecases import observations, plantings
from tests.api.asking import CSV, STATION, VINEYARD, put_vineyard, send_csv

PLACE = {"name": "Hollow gauge", "latitude": 33.5, "longitude": -84.0}
LOG = "season,block,bloom_start\n2025,b1,2025-05-20\n"
VISITS = "date,block,percent_open\n2026-05-18,b1,0\n"
PLANTING = "block,cultivar,flower_type,x_m,y_m\nb1,Thimble Ash,pistillate,0,0\nb9,Loam Whistle,perfect,6,0\n"


@pytest.fixture
def meanwhile(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> Callable[[Any, str, Callable[[], Any]], None]:
    """Lets something happen while a file is read."""
    put_vineyard(client)

    def at(module: Any, reader: str, happen: Callable[[], Any]) -> None:
        read = getattr(module, reader)
        happened: list[object] = []

        def slowly(*args: Any, **options: Any) -> Any:
            if not happened:
                happened.append(happen())
            return read(*args, **options)

        monkeypatch.setattr(module, reader, slowly)

    return at


@pytest.mark.parametrize(
    ("path", "text", "module", "reader"),
    [
        (f"{VINEYARD}/bloom-log", LOG, observations, "read_bloom_log"),
        (f"{VINEYARD}/visits", VISITS, observations, "read_visits"),
        (f"{VINEYARD}/planting", PLANTING, plantings, "read_any_planting"),
    ],
)
def test_others_write_while_a_file_is_read(
    client: TestClient,
    meanwhile: Callable[[Any, str, Callable[[], Any]], None],
    monkeypatch: pytest.MonkeyPatch,
    path: str,
    text: str,
    module: Any,
    reader: str,
) -> None:
    monkeypatch.setattr("service.store.engine.WAIT_SECONDS", 0.5)
    came: list[int] = []

    def write() -> None:
        came.append(client.put(STATION, json={**PLACE, "name": "Meanwhile"}).status_code)

    meanwhile(module, reader, write)
    assert send_csv(client, path, text).status_code == 200
    assert came == [200]
    assert client.get(STATION).json()["name"] == "Meanwhile"


def test_what_was_read_against_a_planting_that_changed_is_read_again(
    client: TestClient, meanwhile: Callable[[Any, str, Callable[[], Any]], None]
) -> None:
    moved = {"cultivar": "loam-whistle", "x_m": 0, "y_m": 0}
    meanwhile(observations, "read_visits", lambda: client.put(f"{VINEYARD}/blocks/b1", json=moved))
    answer = client.post(f"{VINEYARD}/visits", headers=CSV, content=VISITS.encode())
    assert answer.status_code == 200
    [visit] = client.get(f"{VINEYARD}/visits").json()["visits"]
    assert visit["cultivar"] == "loam-whistle"


def test_a_preview_is_read_ahead_too_and_stores_nothing(client: TestClient) -> None:
    put_vineyard(client)
    assert send_csv(client, f"{VINEYARD}/bloom-log", LOG, preview="true").json()["rows_stored"] == 1
    assert client.get(f"{VINEYARD}/bloom-log").json()["rows"] == []
