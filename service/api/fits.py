"""Fits of thresholds: made, shown, shared and taken over."""

from __future__ import annotations

from typing import Annotated

from fastapi import Header, Path, Query, Request, Response
from fastapi.responses import JSONResponse

from service.api.change_schemas import WriteReceipt
from service.api.fit_schemas import FitAnswer, FitBody, FitEntry, FitList, GivesAwayAnswer
from service.api.jobs import JobAnswer
from service.api.listing import AS_CSV, PageAsked, csv_answer, paged
from service.api.part import part
from service.api.responses import RESPOND_ASYNC, created_or_replaced, prefers, problems, wants_csv
from service.usecases.fit_documents import FitDocument
from service.usecases.fit_jobs import start_fit
from service.usecases.fits import get_fit, import_fit, keep_fit, plan_fit, users_of
from service.usecases.shared_fits import gives_away
from service.web.access import Grower
from service.web.records import Preview, Reading, Writing, changing, jobs, store
from service.web.turns import HEAVY
from service.web.units import UnitsQuery

router = part("/v1/fits", "fits")

FitId = Annotated[str, Path(alias="fit", max_length=63, description="The fit's identifier.")]


@router.post(
    "",
    summary="Fit thresholds",
    status_code=201,
    response_model=FitAnswer,
    responses={
        200: {"model": FitAnswer, "description": "The same fit was there."},
        202: {
            "model": JobAnswer,
            "description": "It is being made; `Location` tells where to see how far it is.",
        },
        **problems(404),
    },
    response_model_exclude_unset=True,
    dependencies=[HEAVY],
)
def create_fit(
    body: FitBody,
    request: Request,
    response: Response,
    grower: Grower,
    units: UnitsQuery = "metric",
    preview: Preview = False,
    prefer: Annotated[  # noqa: ARG001
        str | None, Header(description="`respond-async` (RFC 7240) makes it in the background.")
    ] = None,
) -> FitAnswer | Response:
    """Fit the heat to every stage for all cultivars at once, from all that was observed in past seasons.

    The fit is put in use for the vineyards that are named; one of all vineyards for those that have none in use
    (see `use`). The same data and options make the same fit, with the same identifier (200). Observations that
    cannot be used are named in `set_aside`. Without `heat` the heat rule is chosen by how well it foresees seasons
    left out, where there are enough of them. That can take minutes; with the header `Prefer: respond-async` the fit
    is made in the background (202, and a job).
    """
    task = plan_fit(store(request), grower, vineyards=body.vineyards, options=body.options(), use=body.use)
    if prefers(request, RESPOND_ASYNC) and not preview:
        job = start_fit(store(request), jobs(request), grower, task)
        headers = {"Location": f"/v1/jobs/{job.id}", "Preference-Applied": RESPOND_ASYNC}
        return JSONResponse(JobAnswer.of(job).model_dump(mode="json"), 202, headers)
    saved = task.fit()
    with changing(request, grower, preview=preview) as records:
        created_or_replaced(response, new=keep_fit(records, saved, task))
        return FitAnswer.of(saved, units, in_use_by=users_of(records, saved.id))


@router.get("", summary="List fits", response_model=FitList, responses=AS_CSV)
def list_fits(request: Request, records: Reading, page: PageAsked) -> FitList | Response:
    """All fits, newest first, and which vineyards have each in use. As CSV with `Accept: text/csv`."""
    summaries, next_page = paged(
        records.fits.all(),
        page,
        lambda summary: (summary.created_at.isoformat(timespec="microseconds"), summary.id),
        newest_first=True,
    )
    entries = []
    for summary in summaries:
        saved = get_fit(records, summary.id)
        entries.append(FitEntry.showing(summary, saved, saved.fit, in_use_by=users_of(records, saved.id)))
    if wants_csv(request):
        rows = [entry.model_dump(mode="json") for entry in entries]
        return csv_answer(request, list(FitEntry.model_fields), rows, next_page)
    return FitList(fits=entries, next=next_page)


@router.post(
    "/import",
    summary="Take over a shared fit",
    status_code=201,
    responses={200: {"model": FitAnswer, "description": "The same fit was there."}},
    response_model_exclude_unset=True,
)
def take_over_fit(
    body: FitDocument, response: Response, records: Writing, units: UnitsQuery = "metric"
) -> FitAnswer:
    """Take over a fit that another grower shared: the document that `GET /v1/fits/{fit}/document` gave.

    It is put in use with `PUT /v1/vineyards/{vineyard}/fit`. Forecasts made with it say `imported`.
    """
    saved, new = import_fit(records, body)
    created_or_replaced(response, new=new)
    return FitAnswer.of(saved, units, in_use_by=users_of(records, saved.id))


@router.get("/{fit}", summary="Show a fit", responses=problems(404), response_model_exclude_unset=True)
def show_fit(fit: FitId, records: Reading, units: UnitsQuery = "metric") -> FitAnswer:
    """Thresholds of all cultivars, how sure they are, and how they were made."""
    return FitAnswer.of(get_fit(records, fit), units, in_use_by=users_of(records, fit))


@router.delete("/{fit}", summary="Delete a fit", responses=problems(404, 409))
def delete_fit(fit: FitId, records: Writing) -> WriteReceipt:
    """Delete a fit; its hindcast is not shown any more. Refused (409) while a vineyard has it in use."""
    records.fits.delete(fit)
    return WriteReceipt.of(records.journal)


@router.get(
    "/{fit}/document",
    summary="Share a fit",
    response_model=FitDocument | GivesAwayAnswer,
    responses=problems(404),
    response_model_exclude_unset=True,
)
def share_fit(
    fit: FitId,
    records: Reading,
    preview: Annotated[bool, Query(description="Tell first what the document gives away.")] = False,
) -> FitDocument | GivesAwayAnswer:
    """The whole fit, to the last digit, for another grower to take over with `POST /v1/fits/import`.

    It names vineyards, stations, cultivars, seasons, and blocks of which an observation was set aside, and holds no
    places and no temperatures. With `preview=true` the answer lists those names instead.
    """
    document = FitDocument.of(get_fit(records, fit))
    return GivesAwayAnswer.showing(gives_away(document)) if preview else document
