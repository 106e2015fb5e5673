"""Fits that are made in the background."""

from __future__ import annotations

import uuid
from functools import partial
from typing import Any

from service.jobs import JobRunner, Tell
from service.store.engine import Store
from service.store.records import Job
from service.usecases.fits import FitTask, choose_observations, keep_fit
from service.workers import Workers

KIND = "fit"


def start_fit(store: Store, jobs: JobRunner, grower: str, task: FitTask) -> Job:
    """Let a fit be made, kept and put in use in the background.

    The job is on the vineyards that were named, split by commas; on nothing where all are meant.

    Raises
    ------
    BadInput, NotEnoughData
        If what is asked for cannot be, or there is nothing to fit.
    """
    choose_observations(task.vineyards, task.options)
    subject = ",".join(vineyard.key for vineyard in task.vineyards) if task.named else None
    with store.transaction(grower) as records:
        job = records.jobs.add(f"{KIND}-{uuid.uuid4().hex[:12]}", KIND, subject=subject)
    jobs.submit(grower, job.id, partial(_made, store, grower, task))
    return job


def _made(store: Store, grower: str, task: FitTask, workers: Workers, tell: Tell) -> dict[str, Any]:
    tell(0.0, "fitting")
    [saved] = workers.run_each([task.fit], lambda _: None)
    with store.transaction(grower) as records:
        new = keep_fit(records, saved, task)
    return {"fit": saved.id, "new": new}
