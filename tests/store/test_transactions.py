"""Transactions: all or nothing, one grower at a time, and threads that wait for each other."""

from __future__ import annotations

import datetime as dt
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Barrier

import numpy as np
import pytest
from sqlalchemy.exc import DBAPIError

from models.records import Block, BloomLogRow, Cultivar, FlowerType, Visit
from service.store import (
    NotFound,
    Repositories,
    Station,
    Store,
    StoreError,
    UnknownReference,
    Vineyard,
)

HILL = Station("hill", "Hill", 31.5, -83.5)


def fill(repositories: Repositories) -> None:
    """One of everything."""
    days = np.array(["2026-04-01"], dtype="datetime64[D]")
    repositories.stations.put(HILL)
    repositories.temperatures.store("hill", days, np.array([9.0]), np.array([21.0]))
    repositories.temperatures.store_outlook(
        "hill", dt.date(2026, 4, 1), days, np.array([8.0]), np.array([20.0])
    )
    repositories.cultivars.put(Cultivar("dusk", "Dusk", FlowerType.PERFECT, True))
    repositories.vineyards.put(Vineyard("home", "Home", "hill"))
    repositories.blocks.put("home", Block("b1", "dusk", 0.0, 0.0))
    repositories.bloom_log.add(
        "home", [BloomLogRow(2025, "dusk", "b1", {"bloom_start": dt.date(2025, 5, 20)})]
    )
    repositories.visits.add("home", [Visit(dt.date(2026, 5, 18), "dusk", "b1", percent_open=5.0)])
    repositories.fits.add("f1", {"theta": 640.2})
    repositories.jobs.add("j1", "hindcast")


def test_an_error_leaves_nothing_behind(store: Store) -> None:
    def break_off() -> None:
        with store.transaction("local") as repositories:
            fill(repositories)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        break_off()
    with store.transaction("local", read_only=True) as repositories:
        assert repositories.stations.all() == ()
        assert repositories.cultivars.all() == ()
        assert repositories.vineyards.all() == ()
        assert repositories.fits.all() == ()


def test_one_grower_sees_nothing_of_another(store: Store) -> None:
    with store.transaction("ann") as repositories:
        fill(repositories)
    with store.transaction("ben") as repositories:
        assert repositories.stations.all() == ()
        assert repositories.cultivars.all() == ()
        assert repositories.vineyards.all() == ()
        assert repositories.fits.all() == ()
        for look in (
            lambda: repositories.stations.get("hill"),
            lambda: repositories.stations.delete("hill"),
            lambda: repositories.temperatures.observed("hill"),
            lambda: repositories.temperatures.history("hill", dt.date(2026, 4, 1)),
            lambda: repositories.temperatures.outlook("hill", dt.date(2026, 4, 1)),
            lambda: repositories.cultivars.delete("dusk"),
            lambda: repositories.vineyards.delete("home"),
            lambda: repositories.blocks.get("home", "b1"),
            lambda: repositories.blocks.planting("home"),
            lambda: repositories.bloom_log.rows("home"),
            lambda: repositories.visits.history("home", "v1"),
            lambda: repositories.changes.undo(1),
            lambda: repositories.fits.get("f1"),
            lambda: repositories.jobs.update("j1", progress=1.0),
            lambda: repositories.jobs.cancel("j1"),
        ):
            with pytest.raises(NotFound):
                look()
        with pytest.raises(UnknownReference):
            repositories.vineyards.put(Vineyard("home", "Home", "hill"))


def test_growers_may_choose_the_same_keys(store: Store) -> None:
    for grower, name in (("ann", "Ann's hill"), ("ben", "Ben's hill")):
        with store.transaction(grower) as repositories:
            fill(repositories)
            assert not repositories.stations.put(Station("hill", name, 31.5, -83.5))
    with store.transaction("ben") as repositories:
        repositories.vineyards.delete("home")
        repositories.stations.delete("hill")
    with store.transaction("ann") as repositories:
        assert repositories.stations.get("hill").name == "Ann's hill"
        assert repositories.blocks.all("home") == (Block("b1", "dusk", 0.0, 0.0),)
        assert len(repositories.visits.all("home")) == len(repositories.bloom_log.rows("home")) == 1
        assert repositories.temperatures.observed("hill") is not None


def test_a_reader_cannot_write_and_sees_one_moment(store: Store) -> None:
    with store.transaction("local", read_only=True) as reader:
        assert reader.stations.all() == ()
        with store.transaction("local") as writer:
            writer.stations.put(HILL)
        assert reader.stations.all() == ()
    with store.transaction("local", read_only=True) as reader:
        assert reader.stations.all() == (HILL,)
    with pytest.raises(DBAPIError, match=r"read-?only"), store.transaction("local", read_only=True) as reader:
        reader.stations.delete("hill")
    with store.transaction("local") as repositories:
        assert repositories.stations.all() == (HILL,)


def count_up(store: Store, threads: int, steps: int) -> int:
    """Threads add one to the same number at once; a lost step or an error shows in what comes out."""
    with store.transaction("local") as repositories:
        repositories.stations.put(Station("hill", "Hill", 0.0, 0.0))
    start = Barrier(threads)

    def work(_thread: int) -> None:
        start.wait()
        for _ in range(steps):
            with store.transaction("local") as repositories:
                latitude = repositories.stations.get("hill").latitude
                repositories.stations.put(Station("hill", "Hill", latitude + 1, 0.0))

    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(work, range(threads)))
    with store.transaction("local", read_only=True) as repositories:
        return round(repositories.stations.get("hill").latitude)


def test_threads_that_write_wait_for_each_other(store: Store) -> None:
    assert count_up(store, threads=2, steps=20) == 40


def test_threads_take_turns_with_a_database_in_memory() -> None:
    store = Store("sqlite://")
    store.migrate()
    assert count_up(store, threads=4, steps=10) == 40
    store.close()


def test_two_threads_may_bring_the_same_new_grower(store: Store) -> None:
    start = Barrier(2)

    def work(key: str) -> None:
        start.wait()
        with store.transaction("new") as repositories:
            repositories.stations.put(Station(key, key, 0.0, 0.0))

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(work, ["a", "b"]))
    with store.transaction("new", read_only=True) as repositories:
        assert [station.key for station in repositories.stations.all()] == ["a", "b"]


@pytest.mark.parametrize(
    ("url", "says"),
    [("mysql://localhost/x", "sqlite:// or postgresql://"), ("nonsense", "cannot be read")],
)
def test_other_databases_are_refused(url: str, says: str) -> None:
    with pytest.raises(StoreError, match=says):
        Store(url)


def test_a_database_out_of_reach_does_not_answer(tmp_path: Path) -> None:
    store = Store(f"sqlite:///{tmp_path / 'no such folder' / 'store.db'}")
    assert not store.is_answering()
    store.close()
