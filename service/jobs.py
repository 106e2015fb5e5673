"""Long work in the background of the service: one job after the other, each on all cores or on a cluster.

Jobs wait in the database with what was asked for. Each service, or each of its workers, claims one at a time; what one
of them leaves unfinished fails by itself, and touches none of the others'.
"""

from __future__ import annotations

import datetime as dt
import logging
import threading
import uuid
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from models.errors import CapfallError
from service import clock
from service.store.engine import Store
from service.store.errors import StoreError, Unavailable
from service.store.job_queue import Claimed
from service.store.records import Job, JobState
from service.workers import Stopped, Workers, WorkersLost

log = logging.getLogger(__name__)

Tell = Callable[[float, str], None]
"""Takes how far the work is (0 to 1), and what it is at: a code, as ``fitting`` or ``seasons 3/12``."""
JobWork = Callable[[Store, str, Job, Workers, Tell], dict[str, Any]]
"""What is done for a grower's job; gives its result as JSON."""

HOLD_EVERY_SECONDS = 1.0  # how soon progress is told, and a job that was cancelled is noticed [s]
LOST_AFTER_SECONDS = 30.0  # a job that nobody has held for so long has lost its worker [s]
LOOK_EVERY_SECONDS = 2.0  # for jobs that another worker has taken in [s]


class JobRunner:
    """Runs jobs of a database, beside others that do the same.

    Parameters
    ----------
    store : Store
    works : mapping of a kind of job to its work
    make_workers : callable, optional
        Gives the processes of one job; by default one on each core of this machine.
    """

    def __init__(
        self, store: Store, works: Mapping[str, JobWork], make_workers: Callable[[], Workers] = Workers
    ) -> None:
        self._store = store
        self._works = works
        self._make_workers = make_workers
        self._name = uuid.uuid4().hex
        self._thread = threading.Thread(target=self._run, name="jobs", daemon=True)
        self._closing = threading.Event()
        self._woken = threading.Event()
        self._workers: Workers | None = None

    def start(self) -> None:
        """Run what waits, from now on."""
        self._end_lost()
        self._thread.start()

    def wake(self) -> None:
        """Look for a job now: one was taken in."""
        self._woken.set()

    def close(self) -> None:
        """Stop the job that runs; it has failed, and says why. Those that wait are left to the next."""
        self._closing.set()
        self.wake()
        if self._workers is not None:
            self._workers.stop()
        if self._thread.ident is not None:
            self._thread.join()

    def _run(self) -> None:
        while not self._closing.is_set():
            self._woken.clear()
            try:
                claimed = self._claim()
                if claimed is not None:
                    self._work_on(claimed)
                    continue
            except Unavailable as error:
                log.error("jobs wait for the database: %s", error.why)
            except Exception:  # the next look may find all well
                log.exception("jobs cannot be run")
            self._woken.wait(LOOK_EVERY_SECONDS)

    def _claim(self) -> Claimed | None:
        with self._store.job_queue(read_only=True) as queue:
            if not queue.has_work(lost_before=_long_ago()):
                return None
        self._end_lost()
        with self._store.job_queue() as queue:
            return queue.claim(self._name)

    def _end_lost(self) -> None:
        with self._store.job_queue() as queue:
            queue.end_lost("crashed", before=_long_ago())

    def _work_on(self, claimed: Claimed) -> None:
        state, message, result = self._outcome(claimed)
        with self._store.job_queue() as queue:
            queue.end(claimed, state, message, result=result)

    def _outcome(self, claimed: Claimed) -> tuple[JobState, str, dict[str, Any] | None]:
        job = claimed.job
        try:
            with self._make_workers() as workers, self._held(claimed, workers) as tell:
                self._workers = workers
                if self._closing.is_set():  # a stop that came before there was anything to stop
                    raise Stopped
                return "done", "done", self._works[job.kind](self._store, claimed.grower, job, workers, tell)
        except Stopped:
            return "failed", "stopped", None
        except WorkersLost:
            return "failed", "lost", None
        except (CapfallError, StoreError) as error:
            return "failed", str(error), None
        except Exception:
            log.exception("job %s failed", job.id)
            return "failed", "broken", None

    @contextmanager
    def _held(self, claimed: Claimed, workers: Workers) -> Iterator[Tell]:
        """Hold the job while it is worked on, and stop the work once somebody has cancelled it."""
        told = (0.0, "started")
        ended = threading.Event()

        def tell(progress: float, message: str) -> None:
            nonlocal told
            told = (progress, message)

        def hold() -> None:
            while not ended.wait(HOLD_EVERY_SECONDS):
                try:
                    with self._store.job_queue() as queue:
                        if not queue.hold(claimed, progress=told[0], message=told[1]):
                            workers.stop()
                            return
                except Unavailable as error:
                    log.warning("job %s cannot be held: %s", claimed.job.id, error.why)

        holding = threading.Thread(target=hold, name="hold", daemon=True)
        holding.start()
        try:
            yield tell
        finally:
            ended.set()
            holding.join()


def _long_ago() -> dt.datetime:
    return clock.now() - dt.timedelta(seconds=LOST_AFTER_SECONDS)
