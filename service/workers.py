"""Long computations in other processes: one on each core of this machine, or those of a Dask cluster."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, CancelledError, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.connection import wait as wait_for
from types import TracebackType
from typing import Any, Self, TypeVar

from models.errors import CapfallError
from service.threads import use_one_thread

Result = TypeVar("Result")
Work = Callable[[], Result]

ANSWERS_WITHIN_SECONDS = 10
TRIES = 3  # of one piece of work on a cluster whose workers get lost
LOOK_EVERY_SECONDS = 0.5  # how soon a stop is noticed [s]


class Stopped(Exception):
    """The work was stopped before its end."""


class WorkersLost(Exception):
    """A process ended without an answer: the machine ran out of memory, or somebody ended it."""


class NoCluster(CapfallError):
    """The cluster that was asked for is not there."""


class Workers:
    """Processes that compute. Use as a context manager; leaving it, on an error too, ends them.

    Parameters
    ----------
    count : int, optional
        How many; by default one a core.
    """

    def __init__(self, count: int | None = None) -> None:
        context = get_context("spawn")  # a fork would take over locks that the service's threads hold
        self.count = count or available_cores()
        # A pipe, not an Event: to set one waits for every process that looks at it, also for those that have ended.
        self._wanted, self._want = context.Pipe(duplex=False)
        self._closing = (
            threading.Lock()
        )  # a stop may come while the context is left: to close twice at once fails
        self._stopped = False
        self._pool: Executor = ProcessPoolExecutor(
            self.count, mp_context=context, initializer=_prepare, initargs=(self._wanted,)
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is not None:
            self.stop()
        self._pool.shutdown(cancel_futures=True)
        self._end()
        self._wanted.close()

    def stop(self) -> None:
        """End the processes in the midst of their work; whoever waits for it gets `Stopped`."""
        self._stopped = True
        self._end()

    def run_each(self, works: Sequence[Work[Result]], done: Callable[[int], None]) -> list[Result]:
        """The answers of all works, in their order; ``done`` is told how many there are, as they come.

        A work is a function that a process can import, with arguments that can be sent to it.

        Raises
        ------
        Stopped
            If `stop` was called.
        WorkersLost
            If a process ended without an answer.
        """
        try:
            futures = [self._pool.submit(work) for work in works]
            waiting: set[Future[Result]] = set(futures)
            while waiting:
                if self._stopped:
                    raise Stopped
                came, waiting = wait(waiting, LOOK_EVERY_SECONDS, FIRST_COMPLETED)
                for future in came:
                    future.result()
                if came:
                    done(len(futures) - len(waiting))
            return [future.result() for future in futures]
        except (BrokenProcessPool, CancelledError):
            if self._stopped:
                raise Stopped from None
            raise WorkersLost from None

    def _end(self) -> None:
        with self._closing:
            self._want.close()


class ClusterWorkers(Workers):
    """The processes of a Dask cluster that runs already, through the same small interface.

    What a lost worker had in hand is given to another one.

    Parameters
    ----------
    scheduler : str
        Its address, as in ``tcp://host:8786``.

    Raises
    ------
    NoCluster
        If nobody answers there, or the library is not installed.
    """

    def __init__(self, scheduler: str) -> None:
        try:
            from distributed import Client
        except ModuleNotFoundError:
            raise NoCluster("a scheduler needs more libraries: pip install 'capfall[dask]'") from None
        try:
            client: Any = Client(scheduler, timeout=ANSWERS_WITHIN_SECONDS)  # type: ignore[no-untyped-call]
        except (OSError, ValueError, TimeoutError) as error:
            raise NoCluster(f"no scheduler answers at {scheduler}") from error
        self._client = client
        self._closing = threading.Lock()  # a stop may come when all is done: a closed client cannot be asked
        self.count = max(sum(client.ncores().values()), 1)
        self._stopped = False
        self._pool = client.get_executor(pure=False, retries=TRIES)

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        with self._closing:
            self._client.close()

    def stop(self) -> None:
        """Give up what was asked of the cluster; whoever waits for it gets `Stopped`."""
        self._stopped = True
        with self._closing:
            if self._client.status != "closed":
                self._pool.shutdown(wait=False)


def workers_for(scheduler: str | None) -> Workers:
    """The processes of the cluster with this address, or of this machine. Raises NoCluster."""
    return Workers() if scheduler is None else ClusterWorkers(scheduler)


def available_cores() -> int:
    """How many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _prepare(wanted: Connection) -> None:
    """In each process: one thread for linear algebra, interrupts left to the parent, and an end when told."""
    use_one_thread()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_when_unwanted, args=(wanted,), daemon=True).start()


def _end_when_unwanted(wanted: Connection) -> None:
    """End this process, in the midst of its work too, when the pipe does."""
    wait_for([wanted])
    os._exit(1)
