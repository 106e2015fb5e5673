"""Looks at single blocks."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.exceptions import RequestValidationError
from pydantic import TypeAdapter, ValidationError

from models.records import Visit
from service.api.responses import UPLOAD, problems
from service.api.schemas import ObservationReceipt, VisitAnswer, VisitBody, VisitsAnswer
from service.usecases.observations import store_visits, store_visits_file
from service.web.keys import VineyardKey
from service.web.records import Reading, Writing
from service.web.uploads import JSON, DateFormat, OnBadRowsQuery, csv_file, csv_upload, media_type

router = APIRouter(prefix="/v1/vineyards/{vineyard}/visits", tags=["observations"])

VISITS = TypeAdapter(list[VisitBody])


async def visits_sent(request: Request) -> bytes | list[VisitBody]:
    """The visits of a request: a CSV file, or a JSON list."""
    if media_type(request) != JSON:
        return await csv_file(request)
    try:
        return VISITS.validate_json(await request.body())
    except ValidationError as error:
        found = error.errors(include_url=False, include_input=False, include_context=False)
        raise RequestValidationError([{**each, "loc": ("body", *each["loc"])} for each in found]) from None


@router.post(
    "",
    summary="Record visits",
    responses=UPLOAD,
    openapi_extra=csv_upload(json_schema={"type": "array", "items": VisitBody.model_json_schema()}),
)
def record_visits(
    vineyard: VineyardKey,
    sent: Annotated[bytes | list[VisitBody], Depends(visits_sent)],
    records: Writing,
    date_format: DateFormat = None,
    on_bad_rows: OnBadRowsQuery = "reject",
) -> ObservationReceipt:
    """Take visits as a JSON list or a CSV file with the columns `date`, `block` (or `cultivar`) and
    `percent_open` or `bbch`; `observer` and `note` may stand beside them.

    A visit of the same day, block and observer takes the old one's place. "Not yet open" is worth recording
    too: that nobody looked says nothing.
    """
    if isinstance(sent, bytes):
        stored = store_visits_file(records, vineyard, sent, date_format=date_format, on_bad_rows=on_bad_rows)
    else:
        visits = [Visit(**{**body.model_dump(), "cultivar": body.cultivar or ""}) for body in sent]
        stored = store_visits(records, vineyard, visits)
    return ObservationReceipt.of(vineyard, stored)


@router.get("", summary="Show visits", responses=problems(404))
def get_visits(vineyard: VineyardKey, records: Reading) -> VisitsAnswer:
    """All visits that hold, by date."""
    visits = [VisitAnswer(**asdict(visit)) for visit in records.visits.all(vineyard)]
    return VisitsAnswer(vineyard=vineyard, visits=visits)
