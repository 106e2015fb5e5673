"""The season as a calendar to subscribe to."""

from __future__ import annotations

from typing import Annotated

from fastapi import Query, Request, Response

from service.api.part import part
from service.api.responses import UNCHANGED, Responses, problems
from service.api.season_query import AsOf, FitId
from service.feed.ical import MEDIA_TYPE
from service.feed.season import season_calendar
from service.web.access import Grower, needs
from service.web.kept import KEPT, not_kept
from service.web.keys import VineyardKey
from service.web.records import store
from service.web.turns import HEAVY

router = part("/v1/vineyards/{vineyard}", "forecasts", KEPT, HEAVY)

CALENDAR: Responses = {
    200: {"description": "The calendar", "content": {MEDIA_TYPE: {"schema": {"type": "string"}}}},
}


@router.get(
    "/calendar.ics",
    summary="Subscribe to the calendar",
    response_class=Response,
    responses=CALENDAR | UNCHANGED | problems(404, 409),
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
    if as_of is not None or fit is not None:  # it takes its sequences from what the feed has told
        not_kept(request)
    stream = season_calendar(store(request), grower, vineyard, as_of=as_of, fit=fit)
    return Response(stream, media_type=f"{MEDIA_TYPE}; charset=utf-8", headers={"Cache-Control": "no-cache"})
