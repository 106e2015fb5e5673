"""Everything in one call: files in, fit, forecast and pollen cover out."""

from __future__ import annotations

from dataclasses import fields
from typing import Annotated

from fastapi import Depends, Form, HTTPException, Request
from starlette.datastructures import UploadFile

from service import clock
from service.api.part import part
from service.api.report_schemas import ReportAnswer, ReportForm
from service.api.responses import problems
from service.ingest.options import ReadOptions
from service.usecases.report import ReportFiles, ReportOptions, bloom_report
from service.web.access import needs
from service.web.turns import HEAVY
from service.web.uploads import MULTIPART, media_type

router = part("/v1/bloom-report", "report", HEAVY)


def sent_as_form(request: Request) -> None:
    """Refuse a body of another media type: it would look like an empty form."""
    if media_type(request) != MULTIPART:
        raise HTTPException(
            415, f"send the files as {MULTIPART} (curl: -F temperatures=@file.csv -F planting=@file.csv ...)"
        )


@router.post(
    "",
    summary="Report from files alone",
    responses=problems(415),
    dependencies=[Depends(sent_as_form)],
    response_model_exclude_unset=True,
)
@needs("read")  # it stores nothing
def report_from_files(form: Annotated[ReportForm, Form(media_type=MULTIPART)]) -> ReportAnswer:
    """Read the files, fit, and forecast as of a day. Nothing is stored, and nothing dated later is looked at.

    The files are those of the single routes. Every fault is told with its file and line.
    """
    files = ReportFiles(**{name: file.file.read() for name, file in form if isinstance(file, UploadFile)})
    today = clock.today()
    reading = ReadOptions(
        date_format=form.date_format,
        on_bad_rows=form.on_bad_rows,
        confirm=form.confirm,
        sent_on=today,
        checked_every_days=form.checked_every_days,
    )
    told = dict(form) | {"as_of": form.as_of or today, "reading": reading, "date_formats": form.date_formats}
    options = ReportOptions(**{field.name: told[field.name] for field in fields(ReportOptions)})
    return ReportAnswer.of(bloom_report(files, options), form.units)
