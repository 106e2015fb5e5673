"""Long work in the background of the service: one job after the other, each on all cores."""

from __future__ import annotations

import logging
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from models.errors import CapfallError
from service import clock
from service.store.engine import Store
from service.store.errors import StoreError
from service.workers import Stopped, Workers, WorkersLost

log = logging.getLogger(__name__)

Tell = Callable[[float, str], None]
"""Takes how far the work is (0 to 1), and what it is at."""
JobWork = Callable[[Workers, Tell], dict[str, Any]]
"""What a job does; gives its result as JSON."""

TELL_EVERY_SECONDS = 1.0  # progress is written to the store no more often than this [s]
STOPPED = "the service was stopped before the job had ended; ask for it again"
CRASHED = "the service ended before the job had; ask for it again"
LOST = "a process ended in the midst of the work, perhaps for want of memory; ask for it again"
FAILED = "something went wrong on our side; it has been noted"


class JobRunner:
    """Runs the jobs of one service.

    One service runs the jobs of a database: at its start, what another one left unfinished has failed.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="jobs")
        self._workers: Workers | None = None
        self._closing = False

    def start(self) -> None:
        """Before the first job."""
        self._store.end_lost_jobs(CRASHED)

    def submit(self, grower: str, job: str, work: JobWork) -> None:
        """Let a stored job that waits run when its turn comes."""
        self._thread.submit(self._run, grower, job, work)

    def close(self) -> None:
        """Stop the job that runs and those that wait; they have failed, and say why."""
        self._closing = True
        if self._workers is not None:
            self._workers.stop()
        self._thread.shutdown()

    def _run(self, grower: str, job: str, work: JobWork) -> None:
        try:
            result = self._result(grower, job, work)
        except Stopped:
            self._fail(grower, job, STOPPED)
        except WorkersLost:
            self._fail(grower, job, LOST)
        except (CapfallError, StoreError) as error:
            self._fail(grower, job, str(error))
        except Exception:
            log.exception("job %s failed", job)
            self._fail(grower, job, FAILED)
        else:
            with self._store.transaction(grower) as records:
                records.jobs.update(job, state="done", progress=1.0, message="done", result=result)

    def _result(self, grower: str, job: str, work: JobWork) -> dict[str, Any]:
        told_at = -TELL_EVERY_SECONDS

        def tell(progress: float, message: str) -> None:
            nonlocal told_at
            if clock.seconds() - told_at >= TELL_EVERY_SECONDS:
                told_at = clock.seconds()
                with self._store.transaction(grower) as records:
                    records.jobs.update(job, state="running", progress=progress, message=message)

        with Workers() as workers:
            self._workers = workers
            if self._closing:  # a stop that came before there was anything to stop
                raise Stopped
            tell(0.0, "started")
            return work(workers, tell)

    def _fail(self, grower: str, job: str, why: str) -> None:
        with self._store.transaction(grower) as records:
            records.jobs.update(job, state="failed", message=why)
