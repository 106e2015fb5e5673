"""A database that is locked, full or gone: refused as such, nothing half stored, and all well once it is back."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine, event

from service.store import Station, Store
from service.store.errors import Unavailable


@pytest.fixture
def database(tmp_path: Path) -> Path:
    return tmp_path / "capfall.db"


@pytest.fixture
def store(database: Path) -> Iterator[Store]:
    made = Store(f"sqlite:///{database}")
    made.migrate()
    yield made
    made.close()


def put(store: Store, *keys: str, then: Callable[[], None] | None = None) -> None:
    with store.transaction("local") as records:
        for key in keys or ["hill"]:
            records.stations.put(Station(key, key, 31.5, -83.5))
        if then is not None:
            then()


def stations(store: Store) -> list[str]:
    with store.transaction("local", read_only=True) as records:
        return [station.key for station in records.stations.all()]


def test_a_lock_is_waited_for_and_then_told(
    store: Store, database: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert stations(store) == []
    monkeypatch.setattr("service.store.engine.WAIT_SECONDS", 0.2)
    hurried = Store(f"sqlite:///{database}")
    with sqlite3.connect(database) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(Unavailable) as refused:
            put(hurried)
        assert "locked" in refused.value.why
        assert stations(hurried) == []  # who only reads waits for nobody
        other.rollback()
    other.close()
    put(hurried)
    assert stations(hurried) == ["hill"]
    hurried.close()


def test_a_full_disk_is_told_and_nothing_half_stored(store: Store) -> None:
    put(store, "before")
    full: list[bool] = [True]

    @event.listens_for(Engine, "begin")
    def limit(connection: object) -> None:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()  # type: ignore[attr-defined]
        most = pages if full[0] else 1_000_000
        connection.exec_driver_sql(f"PRAGMA max_page_count = {most}")  # type: ignore[attr-defined]

    try:
        with pytest.raises(Unavailable) as refused:
            put(store, *(f"s{number}" for number in range(5000)))
        assert "full" in refused.value.why
        assert stations(store) == ["before"]
        full[0] = False
        put(store, "after")
    finally:
        event.remove(Engine, "begin", limit)
    assert stations(store) == ["after", "before"]


def test_a_file_that_is_removed_is_missed_and_not_made_anew(store: Store, database: Path) -> None:
    put(store)
    away = database.with_suffix(".away")
    store.close()  # so that all of it stands in the one file
    database.rename(away)
    for _ in range(2):
        with pytest.raises(Unavailable):
            put(store, "lost")
        with pytest.raises(Unavailable):
            stations(store)
    assert not store.is_answering()
    assert not database.exists()
    away.rename(database)
    assert stations(store) == ["hill"]
    put(store, "later")
    assert stations(store) == ["hill", "later"]


def test_a_file_that_is_removed_under_an_open_connection_is_missed(store: Store, database: Path) -> None:
    put(store)
    for name in database.parent.glob("capfall.db*"):
        os.remove(name)
    with pytest.raises(Unavailable):
        put(store, "lost")
    with pytest.raises(Unavailable):
        stations(store)


def test_a_file_that_is_removed_before_the_end_of_a_write_is_missed(store: Store, database: Path) -> None:
    with pytest.raises(Unavailable, match="nothing was stored"):
        put(store, then=database.unlink)


def test_what_is_no_database_is_told(store: Store, database: Path) -> None:
    store.close()
    for name in database.parent.glob("capfall.db*"):
        os.remove(name)
    database.write_bytes(b"no database at all " * 1000)
    with pytest.raises(Unavailable):
        put(store)


def test_postgres_out_of_reach_is_told() -> None:
    pytest.importorskip("psycopg")
    store = Store("postgresql://capfall@127.0.0.1:1/nowhere")
    with pytest.raises(Unavailable):
        put(store)
    assert not store.is_answering()
    store.close()
