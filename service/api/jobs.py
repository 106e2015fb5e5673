"""Long work: how far it is."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Self

from fastapi import APIRouter, Path
from pydantic import Field

from service.api.responses import problems
from service.api.schemas import Body, ThreeDigits
from service.store.records import Job, JobState
from service.usecases.fit_jobs import KIND
from service.web.records import Reading

router = APIRouter(prefix="/v1/jobs", tags=["fits"])

JobId = Annotated[str, Path(alias="job", max_length=63, description="The job's identifier.")]


class JobResult(Body):
    """Where the outcome of a job is."""

    hindcast: str | None = Field(default=None, description="Path of the report of a hindcast.")
    fit: str | None = Field(default=None, description="Path of the fit that was made.")


class JobAnswer(Body):
    """Long work, and how far it is."""

    job: str
    kind: str
    fit: str | None = Field(description="The fit that it works on, or has made.")
    state: JobState
    progress: ThreeDigits = Field(ge=0, le=1)
    message: str = Field(description="What the job is at; once it has failed, why.")
    result: JobResult | None = Field(description="Null until the job is done.")
    created_at: dt.datetime
    updated_at: dt.datetime

    @classmethod
    def of(cls, job: Job) -> Self:
        """For the client."""
        fit, result = job.subject, None
        if job.kind == KIND:
            fit = None if job.result is None else str(job.result["fit"])
        if job.state == "done":
            path = f"/v1/fits/{fit}"
            result = JobResult(fit=path) if job.kind == KIND else JobResult(hindcast=f"{path}/hindcast")
        return cls.showing(job, job=job.id, fit=fit, result=result)


@router.get("/{job}", summary="Show a job", responses=problems(404), response_model_exclude_unset=True)
def show_job(job: JobId, records: Reading) -> JobAnswer:
    """How far long work is: `waiting` for its turn, `running`, `done`, or `failed` with the reason."""
    return JobAnswer.of(records.jobs.get(job))
