"""What the answers of many routes have in common, and how their problems are documented."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from fastapi import Request, Response

from service.web.problems import MEDIA_TYPE
from service.web.uploads import CSV, JSON

Responses = dict[int | str, dict[str, Any]]


def problems(*statuses: int) -> Responses:
    """The ``responses`` of a route that can answer with problems of these statuses."""
    content = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/ProblemDetails"}}}
    return {status: {"description": HTTPStatus(status).phrase, "content": content} for status in statuses}


UNCHANGED: Responses = {
    304: {"description": "Nothing has changed since the answer with the `ETag` in `If-None-Match`"}
}
EVERYWHERE = problems(401, 403, 422, 429, 500, 503)
UPLOAD = problems(404, 415)
OF_A_GROWER = problems(404)  # `?grower=` may name nobody
WITH_BODY = problems(400, 413)  # whatever is sent may be garbled, or too large
RESPOND_ASYNC = "respond-async"


def created_or_replaced(response: Response, *, new: bool) -> None:
    """Answer 201 for a new thing, else 200."""
    response.status_code = 201 if new else 200


def wants_csv(request: Request) -> bool:
    """Whether the client prefers CSV to JSON."""
    accepted = request.headers.get("accept", "")
    return CSV in accepted and JSON not in accepted


def prefers(request: Request, preference: str) -> bool:
    """Whether the client states a preference in a Prefer header (RFC 7240)."""
    told = ",".join(request.headers.getlist("prefer")).lower().split(",")
    return preference in {each.partition(";")[0].strip() for each in told}
