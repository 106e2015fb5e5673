"""Long work: how far it is, and how it is called off."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Self

from fastapi import Path, Query, Request, Response
from pydantic import Field

from service.api.listing import AS_CSV, PageAsked, csv_answer, paged
from service.api.part import part
from service.api.responses import problems, wants_csv
from service.api.schemas import Body, ThreeDigits
from service.store.records import Job, JobState
from service.usecases.fit_jobs import KIND
from service.web.access import Grower
from service.web.records import Reading, store
from service.words.jobs import job_words

router = part("/v1/jobs", "fits")

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
        return cls.showing(job, job=job.id, fit=fit, message=job_words(job.message), result=result)


class JobList(Body):
    """Jobs, newest first."""

    jobs: list[JobAnswer]
    next: str | None = Field(description="The `cursor` of the next page; null on the last one.")


@router.get("", summary="List jobs", response_model=JobList, responses=AS_CSV)
def list_jobs(
    request: Request,
    records: Reading,
    page: PageAsked,
    state: Annotated[JobState | None, Query(description="Only those in this state.")] = None,
) -> JobList | Response:
    """All jobs, newest first; as CSV with `Accept: text/csv`."""
    jobs, next_page = paged(
        records.jobs.all(state),
        page,
        lambda job: (job.created_at.isoformat(timespec="microseconds"), job.id),
        newest_first=True,
    )
    answers = [JobAnswer.of(job) for job in jobs]
    if wants_csv(request):
        columns = [name for name in JobAnswer.model_fields if name != "result"]
        return csv_answer(request, columns, [each.model_dump(mode="json") for each in answers], next_page)
    return JobList(jobs=answers, next=next_page)


@router.get("/{job}", summary="Show a job", responses=problems(404), response_model_exclude_unset=True)
def show_job(job: JobId, records: Reading) -> JobAnswer:
    """How far long work is: `waiting` for its turn, `running`, `done`, `failed` with the reason, or `cancelled`."""
    return JobAnswer.of(records.jobs.get(job))


@router.delete("/{job}", summary="Cancel a job", responses=problems(404), response_model_exclude_unset=True)
def cancel_job(job: JobId, request: Request, grower: Grower) -> JobAnswer:
    """End a job that waits or runs; its work stops within seconds. One that has ended stays as it is."""
    with store(request).transaction(grower) as records:
        return JobAnswer.of(records.jobs.cancel(job))
