"""Fits that are made in the background."""

from __future__ import annotations

import uuid
from typing import Any

from pydantic import TypeAdapter

from service.jobs import JobRunner, Tell
from service.store.engine import Store
from service.store.records import Job
from service.usecases.fits import FitOptions, FitTask, choose_observations, keep_fit, plan_fit
from service.workers import Workers

KIND = "fit"
OPTIONS = TypeAdapter(FitOptions)


def start_fit(store: Store, jobs: JobRunner, grower: str, task: FitTask) -> Job:
    """Let a fit be made, kept and put in use in the background.

    The job is on the vineyards that were named, split by commas; on nothing where all are meant.

    Raises
    ------
    BadInput, NotEnoughData
        If what is asked for cannot be, or there is nothing to fit.
    TooManyJobs
    """
    choose_observations(task.vineyards, task.options)
    keys = [vineyard.key for vineyard in task.vineyards] if task.named else None
    asked = {"vineyards": keys, "options": OPTIONS.dump_python(task.options, mode="json"), "use": task.use}
    with store.transaction(grower) as records:
        subject = None if keys is None else ",".join(keys)
        job = records.jobs.add(f"{KIND}-{uuid.uuid4().hex[:12]}", KIND, subject=subject, asked=asked)
    jobs.wake()
    return job


def work(store: Store, grower: str, job: Job, workers: Workers, tell: Tell) -> dict[str, Any]:
    """Make, keep and put in use the fit that was asked for, from the data of now."""
    asked = job.asked or {}
    options = OPTIONS.validate_python(asked["options"])
    task = plan_fit(store, grower, vineyards=asked["vineyards"], options=options, use=asked["use"])
    tell(0.0, "fitting")
    [saved] = workers.run_each([task.fit], lambda _: None)
    with store.transaction(grower) as records:
        new = keep_fit(records, saved, task)
    return {"fit": saved.id, "new": new}
