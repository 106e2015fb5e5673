"""Jobs that are asked for twice at once, and those whose turn comes while the service ends."""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from service.jobs import STOPPED, JobRunner, JobWork, Tell
from service.store import Store
from service.store.records import Job
from service.store.repositories import Repositories
from service.usecases.hindcast_jobs import AskedHindcast, start_hindcast
from service.workers import Workers

GROWER = "local"


class Waiting(JobRunner):
    """Keeps what it is given, and runs none of it."""

    def __init__(self, store: Store) -> None:
        super().__init__(store)
        self.kept: list[str] = []

    def submit(self, grower: str, job: str, work: JobWork) -> None:
        """Note the job."""
        assert grower == GROWER
        assert callable(work)
        self.kept.append(job)


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
    jobs = Waiting(store)
    first: list[Job] = []

    def ask() -> Job:
        return start_hindcast(store, jobs, GROWER, latest.id, AskedHindcast(leads=(30,)))

    # The other request comes between the one's look for a running hindcast and its note of a new one.
    store.before_write = lambda: first.append(ask())
    assert [ask().id] == [job.id for job in first] == jobs.kept
    assert ask().id == jobs.kept[0]
    with store.transaction(GROWER) as records:
        records.jobs.update(jobs.kept[0], state="failed", message="over")
    assert ask().id == jobs.kept[1] != jobs.kept[0]


@pytest.mark.slow
def test_a_job_whose_turn_comes_while_the_service_ends_does_not_start(store: Store) -> None:
    with store.transaction(GROWER) as records:
        for job in ("running", "waiting"):
            records.jobs.add(job, "hindcast")
    runner = JobRunner(store)
    begun, ran = threading.Event(), []

    def until_stopped(workers: Workers, tell: Tell) -> dict[str, Any]:
        tell(0.0, "under way")
        begun.set()
        workers.run_each([partial(time.sleep, 600)], lambda _: None)
        return {}

    def note(workers: Workers, tell: Tell) -> dict[str, Any]:  # noqa: ARG001
        ran.append("waiting")
        return {}

    runner.submit(GROWER, "running", until_stopped)
    runner.submit(GROWER, "waiting", note)
    assert begun.wait(60)
    runner.close()
    assert ran == []
    with store.transaction(GROWER, read_only=True) as records:
        ended = [records.jobs.get(job) for job in ("running", "waiting")]
    assert [(job.state, job.message) for job in ended] == [("failed", STOPPED)] * 2
