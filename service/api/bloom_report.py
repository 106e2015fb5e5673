"""Everything in one call: files in, fit, forecast and pollen cover out."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Form, HTTPException, Request, UploadFile

from service.access import grower
from service.api.deps import MULTIPART, media_type, today
from service.api.report_schemas import ReportAnswer, ReportForm
from service.api.responses import problems
from service.usecases.report import ReportFiles, ReportOptions, bloom_report

router = APIRouter(prefix="/v1/bloom-report", tags=["report"])


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
    dependencies=[Depends(grower), Depends(sent_as_form)],
    response_model_exclude_unset=True,
)
def report_from_files(form: Annotated[ReportForm, Form(media_type=MULTIPART)]) -> ReportAnswer:
    """Read the files, fit, and forecast as of a day. Nothing is stored, and nothing dated later is looked at.

    The files are those of the single routes. Every fault is told with its file and line.
    """
    files = ReportFiles(
        temperatures=_content(form.temperatures) or b"",
        planting=_content(form.planting) or b"",
        bloom_log=_content(form.bloom_log),
        visits=_content(form.visits),
        outlook=_content(form.outlook),
    )
    options = ReportOptions(
        as_of=today() if form.as_of is None else form.as_of,
        unit=form.unit,
        latitude=form.latitude,
        reach_m=form.reach_m,
        interval=form.interval,
        date_format=form.date_format,
        on_bad_rows=form.on_bad_rows,
        search=form.search,
        row_spacing_m=form.row_spacing_m,
        vine_spacing_m=form.vine_spacing_m,
        receptive_days=form.receptive_days,
        pollen_days=form.pollen_days,
    )
    return ReportAnswer.of(bloom_report(files, options), form.units)


def _content(file: UploadFile | None) -> bytes | None:
    return None if file is None else file.file.read()
