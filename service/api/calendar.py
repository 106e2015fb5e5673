"""The season as a calendar to subscribe to."""

from __future__ import annotations

import hashlib
from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from service.api.responses import Responses, problems
from service.api.season_query import AsOf, FitId
from service.feed.ical import MEDIA_TYPE
from service.feed.season import season_calendar
from service.web.access import Grower, needs
from service.web.keys import VineyardKey
from service.web.records import store

router = APIRouter(prefix="/v1/vineyards/{vineyard}", tags=["forecasts"])

FEED: Responses = {
    200: {"description": "The calendar", "content": {MEDIA_TYPE: {"schema": {"type": "string"}}}},
    304: {"description": "Nothing has changed since the answer with the `ETag` in `If-None-Match`"},
}


@router.get(
    "/calendar.ics",
    summary="Subscribe to the calendar",
    response_class=Response,
    responses=FEED | problems(404, 409),
)
@needs("calendar")
def get_calendar(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    as_of: AsOf = None,
    fit: FitId = None,
    key: Annotated[str | None, Query(max_length=100, description="That of a calendar link.")] = None,  # noqa: ARG001
) -> Response:
    """Bloom windows, scouting trips (with an alarm at 18:00 on the day before) and pollen warnings, as all-day
    events of RFC 5545.

    Subscribe to it without `as_of` and `fit`. An event keeps its UID while its dates move; the service keeps what
    it told last, so that SEQUENCE and LAST-MODIFIED rise when an event changes and only then. What is no longer
    so is told as CANCELLED for the rest of the season. With `as_of` or `fit` it is a "what if" that changes
    nothing of that.
    """
    stream = season_calendar(store(request), grower, vineyard, as_of=as_of, fit=fit)
    tag = f'"{hashlib.sha256(stream).hexdigest()[:32]}"'
    headers = {"ETag": tag, "Cache-Control": "private, no-cache"}
    if is_known(tag, request.headers.get("if-none-match")):
        return Response(status_code=304, headers=headers)
    return Response(stream, media_type=f"{MEDIA_TYPE}; charset=utf-8", headers=headers)


def is_known(tag: str, told: str | None) -> bool:
    """Whether an If-None-Match header names the tag (RFC 9110, 13.1.2: weak tags compare alike)."""
    if told is None:
        return False
    known = [each.strip().removeprefix("W/") for each in told.split(",")]
    return known == ["*"] or tag in known
