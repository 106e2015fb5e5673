"""How the problems of a route are documented."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from service.problems import MEDIA_TYPE

Responses = dict[int | str, dict[str, Any]]


def problems(*statuses: int) -> Responses:
    """The ``responses`` of a route that can answer with problems of these statuses."""
    content = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/ProblemDetails"}}}
    return {status: {"description": HTTPStatus(status).phrase, "content": content} for status in statuses}


EVERYWHERE = problems(401, 403, 422, 500)
UPLOAD = problems(404, 415)
WITH_BODY = problems(400, 413)  # whatever is sent may be garbled, or too large
