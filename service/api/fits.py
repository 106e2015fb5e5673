"""Fits of thresholds: made, shown, shared and taken over."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from service.api.fit_schemas import FitAnswer, FitBody, FitEntry, FitList
from service.api.responses import created_or_replaced, problems
from service.usecases.fit_documents import FitDocument
from service.usecases.fits import get_fit, import_fit, make_fit
from service.web.access import Grower
from service.web.records import Reading, store
from service.web.units import UnitsQuery

router = APIRouter(prefix="/v1/fits", tags=["fits"])

FitId = Annotated[str, Path(alias="fit", max_length=63, description="The fit's identifier.")]


@router.post(
    "",
    summary="Fit thresholds",
    status_code=201,
    responses={200: {"model": FitAnswer, "description": "The same fit was there."}, **problems(404)},
    response_model_exclude_unset=True,
)
def create_fit(
    body: FitBody, request: Request, response: Response, grower: Grower, units: UnitsQuery = "metric"
) -> FitAnswer:
    """Fit the heat to every stage for all cultivars at once, from all that was observed in past seasons.

    The same data and options make the same fit, with the same identifier (200). Observations that cannot be
    used are named in `set_aside`. Without `heat` the heat rule is chosen by how well it foresees seasons left
    out, where there are enough of them.
    """
    saved, new = make_fit(store(request), grower, vineyards=body.vineyards, options=body.options())
    created_or_replaced(response, new=new)
    return FitAnswer.of(saved, units)


@router.get("", summary="List fits")
def list_fits(records: Reading) -> FitList:
    """All fits, newest first; forecasts use the first one by default."""
    entries = []
    for summary in records.fits.all():
        saved = get_fit(records, summary.id)
        entries.append(FitEntry.showing(summary, saved, saved.fit))
    return FitList(fits=entries)


@router.post(
    "/import",
    summary="Take over a shared fit",
    status_code=201,
    responses={200: {"model": FitAnswer, "description": "The same fit was there."}},
    response_model_exclude_unset=True,
)
def take_over_fit(
    body: FitDocument, request: Request, response: Response, grower: Grower, units: UnitsQuery = "metric"
) -> FitAnswer:
    """Take over a fit that another grower shared: the document that `GET /v1/fits/{fit}/document` gave.

    Forecasts made with it say `imported`.
    """
    saved, new = import_fit(store(request), grower, body)
    created_or_replaced(response, new=new)
    return FitAnswer.of(saved, units)


@router.get("/{fit}", summary="Show a fit", responses=problems(404), response_model_exclude_unset=True)
def show_fit(fit: FitId, records: Reading, units: UnitsQuery = "metric") -> FitAnswer:
    """Thresholds of all cultivars, how sure they are, and how they were made."""
    return FitAnswer.of(get_fit(records, fit), units)


@router.get(
    "/{fit}/document", summary="Share a fit", responses=problems(404), response_model_exclude_unset=True
)
def share_fit(fit: FitId, records: Reading) -> FitDocument:
    """The whole fit, to the last digit, for another grower to take over with `POST /v1/fits/import`.

    It names vineyards, blocks and seasons, and holds no temperatures.
    """
    return FitDocument.of(get_fit(records, fit))
