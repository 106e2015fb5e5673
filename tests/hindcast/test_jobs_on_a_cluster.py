"""Jobs of the service on a Dask cluster: done there, cancelled there, and refused where none answers."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from functools import partial
from operator import add
from pathlib import Path
from typing import Any

import pytest
from distributed import LocalCluster
from fastapi.testclient import TestClient

from service import app as composed
from service import jobs as running
from service import workers as processes
from service.app import create_app
from service.jobs import Tell
from service.settings import Settings
from service.store import Store
from service.store.records import Job
from service.workers import ClusterWorkers, Workers
from tests.hindcast.test_jobs import GROWER, added, jobs_of, wait_for

pytestmark = pytest.mark.slow


@pytest.fixture
def cluster() -> Iterator[LocalCluster]:
    """Two workers that are threads of this process."""
    options: dict[str, Any] = {"n_workers": 2, "threads_per_worker": 1, "dashboard_address": None}
    with LocalCluster(processes=False, **options) as made:  # type: ignore[no-untyped-call]
        yield made


@pytest.fixture
def url(own_database: Path) -> str:
    return f"sqlite:///{own_database}"


def served(url: str, scheduler: str, work: Callable[..., dict[str, Any]]) -> TestClient:
    """A service whose one kind of job is this work."""
    composed.WORKS["test"] = work
    return TestClient(create_app(Settings(database_url=url, scheduler=scheduler)))


@pytest.fixture(autouse=True)
def no_work_left() -> Iterator[None]:
    yield
    composed.WORKS.pop("test", None)


def test_a_job_is_done_by_the_cluster_and_cancelled_there(
    url: str, cluster: LocalCluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(running, "HOLD_EVERY_SECONDS", 0.05)
    begun = threading.Event()

    def work(_store: Store, _grower: str, job: Job, workers: Workers, tell: Tell) -> dict[str, Any]:
        assert isinstance(workers, ClusterWorkers)
        if job.id == "long":
            tell(0.25, "fitting")
            begun.set()
            workers.run_each([partial(time.sleep, 0.5)] * 100, lambda _: None)
        return {"sums": workers.run_each([partial(add, number, 1) for number in range(3)], lambda _: None)}

    store = Store(url)
    added(store, "long", "short")
    with served(url, cluster.scheduler_address, work):
        assert begun.wait(60)
        wait_for(lambda: jobs_of(store)["long"] == ("running", "fitting"))
        with store.transaction(GROWER) as records:
            records.jobs.cancel("long")
        wait_for(lambda: jobs_of(store)["short"][0] not in ("waiting", "running"))
    assert jobs_of(store) == {"long": ("cancelled", "cancelled"), "short": ("done", "done")}
    with store.transaction(GROWER, read_only=True) as records:
        assert records.jobs.get("short").result == {"sums": [1, 2, 3]}
    store.close()


def test_a_job_says_that_no_scheduler_answers(url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(processes, "ANSWERS_WITHIN_SECONDS", 0.2)
    store = Store(url)
    added(store, "a")
    with served(url, "tcp://127.0.0.1:9", lambda *_: {}):
        wait_for(lambda: jobs_of(store)["a"][0] == "failed")
    assert jobs_of(store)["a"] == ("failed", "no scheduler answers at tcp://127.0.0.1:9")
    store.close()
