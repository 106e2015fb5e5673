"""Hindcasts of kept fits: asked for, run in the background, and kept."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import Any

from pydantic import TypeAdapter

from models.bloom.hindcast import LEADS
from models.errors import BadInput, Problem, Remedy
from service.jobs import JobRunner, Tell
from service.store.engine import Store
from service.store.errors import StoreError
from service.store.records import Job
from service.store.repositories import Repositories
from service.store.results import UNFINISHED
from service.usecases.fit_documents import SavedFit
from service.usecases.fits import get_fit
from service.usecases.hindcast import HindcastOptions, HindcastTask, plan_hindcast, run_hindcast
from service.usecases.hindcast_documents import HindcastDocument
from service.usecases.vineyard_records import load_vineyards
from service.workers import Workers

KIND = "hindcast"


class NotEnded(StoreError):
    """There is no report of a fit yet; ``remedy`` says what would help, ``job_message`` why a job failed, if known."""

    def __init__(self, message: str, remedy: Remedy | None = None, job_message: str = "") -> None:
        super().__init__(message)
        self.remedy = remedy
        self.job_message = job_message


@dataclass(frozen=True)
class AskedHindcast:
    """What a client may choose. ``search`` None: as the fit was made. [day]"""

    interval: float = 0.8
    leads: tuple[int, ...] = LEADS
    search: bool | None = None


ASKED = TypeAdapter(AskedHindcast)


def start_hindcast(store: Store, jobs: JobRunner, grower: str, fit: str, asked: AskedHindcast) -> Job:
    """Let the past of a fit's vineyards be forecast and scored in the background.

    While a hindcast of the same fit is not finished, that one is given, whatever is asked for.

    Raises
    ------
    NotFound
        If there is no such fit, or a vineyard of it is gone.
    BadInput
        If the fit was taken over, or what is asked for cannot be.
    NotEnoughData
        If there are too few past seasons.
    TooManyJobs
    """
    with store.transaction(grower, read_only=True) as records:
        saved = get_fit(records, fit)
        running = records.jobs.latest(KIND, fit, *UNFINISHED)
        if running is not None:
            return running
        _planned(records, saved, asked)
    with store.transaction(grower) as records:
        running = records.jobs.latest(KIND, fit, *UNFINISHED)
        if running is not None:
            return running
        job = records.jobs.add(
            f"{KIND}-{uuid.uuid4().hex[:12]}", KIND, subject=fit, asked=ASKED.dump_python(asked, mode="json")
        )
    jobs.wake()
    return job


def _planned(records: Repositories, saved: SavedFit, asked: AskedHindcast) -> HindcastTask:
    if saved.imported:
        raise BadInput(
            "the fit was taken over from another grower, whose seasons are not here to be left out",
            [Problem("fit", "make a fit from your own vineyards and hindcast that one")],
        )
    search = saved.search is not None if asked.search is None else asked.search
    options = HindcastOptions(
        stages=saved.fit.stages,
        rule=None if search else saved.fit.rule,
        gap_rule=saved.fit.gap_rule,
        exclude_seasons=saved.exclude_seasons,
        interval=asked.interval,
        leads=asked.leads,
    )
    return plan_hindcast(load_vineyards(records, saved.vineyards), options)


def work(store: Store, grower: str, job: Job, workers: Workers, tell: Tell) -> dict[str, Any]:
    """Run the hindcast that was asked for, on the data of now."""
    asked = ASKED.validate_python(job.asked)
    with store.transaction(grower, read_only=True) as records:
        task = _planned(records, get_fit(records, str(job.subject)), asked)
    report = run_hindcast(task, workers, tell)
    return HindcastDocument.model_validate(report).model_dump(mode="json")


def hindcast_of(records: Repositories, fit: str) -> HindcastDocument:
    """The newest report of a fit.

    Raises
    ------
    NotFound
        If there is no such fit.
    NotEnded
        If no hindcast of it has ended well; says what to do.
    """
    records.fits.get(fit)
    done = records.jobs.latest(KIND, fit, "done")
    if done is not None and done.result is not None:
        return HindcastDocument.model_validate(done.result)
    other = records.jobs.latest(KIND, fit, *UNFINISHED, "failed")
    if other is None:
        raise NotEnded(f"no hindcast of fit {fit!r} was run yet", Remedy.RUN_HINDCAST)
    if other.state == "failed":
        raise NotEnded(f"the hindcast of fit {fit!r} failed", job_message=other.message)
    raise NotEnded(f"the hindcast of fit {fit!r} has not ended; see job {other.id!r}")
