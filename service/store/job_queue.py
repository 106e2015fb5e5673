"""All growers' jobs, for those who run them: claimed by one worker each, and kept by being held."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Update, select, update

from service import clock
from service.store.owned import pick
from service.store.records import Job, JobState
from service.store.results import as_json
from service.store.tables import JobRow, table_of

JOBS = table_of(JobRow)


@dataclass(frozen=True)
class Claimed:
    """A job that a worker runs, and whose it is."""

    grower: str
    job: Job
    worker: str


class JobQueue:
    """The jobs of a database within one transaction. A worker that holds its job no more has lost it."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def has_work(self, *, lost_before: dt.datetime) -> bool:
        """Whether a job waits, or runs and was not held since a moment."""
        query = select(JOBS.c.id).where((JOBS.c.state == "waiting") | _lost(lost_before)).limit(1)
        return self._connection.execute(query).first() is not None

    def claim(self, worker: str) -> Claimed | None:
        """Take the job that has waited longest; no two workers get the same one."""
        waiting = select(JOBS).where(JOBS.c.state == "waiting").order_by(JOBS.c.created_at, JOBS.c.id)
        found = (
            self._connection.execute(waiting.limit(1).with_for_update(skip_locked=True)).mappings().first()
        )
        if found is None:
            return None
        now = clock.now()
        mine = {"state": "running", "worker": worker, "seen_at": now, "updated_at": now, "message": "started"}
        this_one = (JOBS.c.grower == found["grower"]) & (JOBS.c.id == found["id"])
        self._connection.execute(update(JOBS).where(this_one).values(mine))
        return Claimed(found["grower"], Job(**pick({**found, **mine}, Job)), worker)

    def hold(self, claimed: Claimed, *, progress: float, message: str) -> bool:
        """Say that the job is being worked on, and how far it is; False if it is the worker's no more."""
        now = clock.now()
        told = {"progress": progress, "message": message, "seen_at": now, "updated_at": now}
        return self._connection.execute(_this(claimed).values(told)).rowcount == 1

    def end(
        self, claimed: Claimed, state: JobState, message: str, *, result: dict[str, Any] | None = None
    ) -> bool:
        """Say how the job ended; False if it is the worker's no more. Raises ValueError (NaN in the result)."""
        told: dict[str, Any] = {"state": state, "message": message, "updated_at": clock.now()}
        if result is not None:
            told |= {"result": as_json(result), "progress": 1.0}
        return self._connection.execute(_this(claimed).values(told)).rowcount == 1

    def end_lost(self, message: str, *, before: dt.datetime) -> None:
        """Mark as failed what runs and was not held since a moment: its worker is no more."""
        told = {"state": "failed", "message": message, "updated_at": clock.now()}
        self._connection.execute(update(JOBS).where(_lost(before)).values(told))


def _lost(before: dt.datetime) -> Any:
    return (JOBS.c.state == "running") & ((JOBS.c.seen_at < before) | JOBS.c.seen_at.is_(None))


def _this(claimed: Claimed) -> Update:
    """Changes the job, as long as it is the worker's and runs."""
    return update(JOBS).where(
        JOBS.c.grower == claimed.grower,
        JOBS.c.id == claimed.job.id,
        JOBS.c.worker == claimed.worker,
        JOBS.c.state == "running",
    )
