"""Long work: how far it is."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Self

from fastapi import APIRouter, Path
from pydantic import Field

from service.api.responses import problems
from service.api.schemas import Body, ThreeDigits
from service.store.records import Job, JobState
from service.web.records import Reading

router = APIRouter(prefix="/v1/jobs", tags=["fits"])

JobId = Annotated[str, Path(alias="job", max_length=63, description="The job's identifier.")]


class JobResult(Body):
    """Where the outcome of a job is."""

    hindcast: str = Field(description="Path of the report.")


class JobAnswer(Body):
    """Long work, and how far it is."""

    job: str
    kind: str
    fit: str | None = Field(description="The fit that it works on.")
    state: JobState
    progress: ThreeDigits = Field(ge=0, le=1)
    message: str = Field(description="What the job is at; once it has failed, why.")
    result: JobResult | None = Field(description="Null until the job is done.")
    created_at: dt.datetime
    updated_at: dt.datetime

    @classmethod
    def of(cls, job: Job) -> Self:
        """For the client."""
        result = None if job.state != "done" else JobResult(hindcast=f"/v1/fits/{job.subject}/hindcast")
        return cls.showing(job, job=job.id, fit=job.subject, result=result)


@router.get("/{job}", summary="Show a job", responses=problems(404))
def show_job(job: JobId, records: Reading) -> JobAnswer:
    """How far long work is: `waiting` for its turn, `running`, `done`, or `failed` with the reason."""
    return JobAnswer.of(records.jobs.get(job))
