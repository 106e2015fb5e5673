"""Jobs that are asked for twice at once, that several workers would like, and whose worker ends."""

from __future__ import annotations

import datetime as dt
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from service import clock
from service import jobs as running
from service.jobs import LOST_AFTER_SECONDS, JobRunner, Tell
from service.store import Store
from service.store.records import Job
from service.store.repositories import Repositories
from service.usecases.hindcast_jobs import AskedHindcast, start_hindcast
from service.workers import Workers

GROWER = "local"


class Interrupted(Store):
    """Lets something happen once, just before its first transaction that may write."""

    before_write: Callable[[], None] | None = None

    @contextmanager
    def transaction(
        self, grower: str, *, read_only: bool = False, by: str | None = None, preview: bool = False
    ) -> Iterator[Repositories]:
        """As ever."""
        if not read_only and self.before_write is not None:
            happen, self.before_write = self.before_write, None
            happen()
        with super().transaction(grower, read_only=read_only, by=by, preview=preview) as records:
            yield records


@pytest.fixture
def store(demo_database: Path, tmp_path: Path) -> Iterator[Interrupted]:
    """A store of its own that holds the demo and a fit."""
    copy = tmp_path / "demo.db"
    shutil.copy(demo_database, copy)
    made = Interrupted(f"sqlite:///{copy}")
    yield made
    made.close()


def test_two_requests_at_once_start_one_hindcast(store: Interrupted) -> None:
    with store.transaction(GROWER, read_only=True) as records:
        (latest,) = records.fits.all()
    jobs = JobRunner(store, {})  # not started: what it is given waits
    first: list[Job] = []

    def ask() -> Job:
        return start_hindcast(store, jobs, GROWER, latest.id, AskedHindcast(leads=(30,)))

    # The other request comes between the one's look for a running hindcast and its note of a new one.
    store.before_write = lambda: first.append(ask())
    assert [ask().id] == [job.id for job in first]
    with store.transaction(GROWER) as records:
        (kept,) = records.jobs.all()
        records.jobs.update(kept.id, state="failed", message="over")
    assert kept.asked == {"interval": 0.8, "leads": [30], "search": None}
    assert ask().id != kept.id
    jobs.close()


def added(store: Store, *ids: str) -> None:
    with store.transaction(GROWER) as records:
        for id in ids:
            records.jobs.add(id, "test")


def jobs_of(store: Store) -> dict[str, tuple[str, str]]:
    with store.transaction(GROWER, read_only=True) as records:
        return {job.id: (job.state, job.message) for job in records.jobs.all()}


def wait_for(there: Callable[[], bool]) -> None:
    until = time.monotonic() + 60
    while not there():
        assert time.monotonic() < until
        time.sleep(0.02)


@pytest.mark.slow
def test_a_job_that_waits_while_the_service_ends_is_left_to_the_next(store: Store) -> None:
    added(store, "a-runs", "b-waits")
    begun, ran = threading.Event(), []

    def until_stopped(_store: Store, _grower: str, _job: Job, workers: Workers, tell: Tell) -> dict[str, Any]:
        tell(0.0, "under way")
        begun.set()
        workers.run_each([partial(time.sleep, 600)], lambda _: None)
        return {}

    def note(_store: Store, grower: str, job: Job, _workers: Workers, _tell: Tell) -> dict[str, Any]:
        ran.append((grower, job.id))
        return {"done": True}

    first = JobRunner(store, {"test": until_stopped})
    first.start()
    assert begun.wait(60)
    first.close()
    assert jobs_of(store) == {"a-runs": ("failed", "stopped"), "b-waits": ("waiting", "")}
    second = JobRunner(store, {"test": note})
    second.start()
    wait_for(lambda: jobs_of(store)["b-waits"][0] == "done")
    second.close()
    assert ran == [(GROWER, "b-waits")]


def test_two_workers_never_take_the_same_job(store: Store) -> None:
    ids = [f"j{number:02}" for number in range(12)]
    added(store, *ids)

    def take(worker: str) -> list[str]:
        taken: list[str] = []
        while True:
            with store.job_queue() as queue:
                claimed = queue.claim(worker)
            if claimed is None:
                return taken
            taken.append(claimed.job.id)

    with ThreadPoolExecutor(3) as pool:
        each = list(pool.map(take, ["ann", "ben", "cid"]))
    assert sorted(id for taken in each for id in taken) == ids


def test_a_worker_that_ends_fails_its_own_jobs_alone(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    added(store, "a", "b", "c")
    with store.job_queue() as queue:
        of_dead, of_living = queue.claim("dead"), queue.claim("living")
    assert of_dead is not None
    assert of_living is not None
    later = clock.now() + dt.timedelta(seconds=LOST_AFTER_SECONDS + 1)
    monkeypatch.setattr(clock, "now", lambda: later)
    with store.job_queue() as queue:
        assert queue.hold(of_living, progress=0.5, message="half")
    restarted = JobRunner(store, {})
    restarted._end_lost()
    assert jobs_of(store) == {"a": ("failed", "crashed"), "b": ("running", "half"), "c": ("waiting", "")}
    with store.job_queue() as queue:  # it was not dead, only slow: its job is its own no more
        assert not queue.hold(of_dead, progress=0.9, message="late")
        assert not queue.end(of_dead, "done", "done", result={})
        assert queue.end(of_living, "done", "done", result={"n": 1})
    assert {id: state for id, (state, _) in jobs_of(store).items()} == {
        "a": "failed",
        "b": "done",
        "c": "waiting",
    }


@pytest.mark.slow
def test_a_cancelled_job_stops_and_tells_nothing(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "HOLD_EVERY_SECONDS", 0.05)
    added(store, "long", "wrong")
    begun = threading.Event()

    def work(_store: Store, _grower: str, job: Job, workers: Workers, tell: Tell) -> dict[str, Any]:
        if job.id == "wrong":
            raise ZeroDivisionError
        tell(0.25, "under way")
        begun.set()
        workers.run_each([partial(time.sleep, 600)], lambda _: None)
        return {}

    runner = JobRunner(store, {"test": work})
    runner.start()
    assert begun.wait(60)
    wait_for(lambda: jobs_of(store)["long"] == ("running", "under way"))
    with store.transaction(GROWER) as records:
        assert records.jobs.get("long").progress == 0.25
        records.jobs.cancel("long")
    wait_for(lambda: jobs_of(store)["wrong"][0] == "failed")
    assert jobs_of(store) == {"long": ("cancelled", "cancelled"), "wrong": ("failed", "broken")}
    runner.close()
