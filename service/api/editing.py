"""Two people at one thing: what one of them changes is not lost unseen. And changes of single fields."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from typing import Annotated, Any, TypeVar

from fastapi import Body as FromBody
from fastapi import Header, HTTPException, Response
from fastapi.exceptions import RequestValidationError
from pydantic import ValidationError

from service.api.schemas import Body
from service.store.errors import NotFound
from service.web.uploads import JSON

Told = TypeVar("Told", bound=Body)

IfMatch = Annotated[
    str | None,
    Header(alias="If-Match", description="The `ETag` of what you have read; 412 if it is another by now."),
]
Patch = Annotated[dict[str, Any], FromBody(min_length=1)]


def etag(answer: Body) -> str:
    """What tells one state of a thing from any other."""
    return f'"{hashlib.sha256(answer.model_dump_json().encode()).hexdigest()[:20]}"'


def tagged(response: Response, answer: Told) -> Told:
    """The answer, with its tag in the headers."""
    response.headers["ETag"] = etag(answer)
    return answer


def check_unchanged(if_match: str | None, current: Callable[[], Body]) -> None:
    """Refuse what was asked for of another state of a thing than the present one.

    Raises
    ------
    HTTPException
        412 if the thing is another by now, or is gone.
    """
    if if_match is None:
        return
    try:
        now = etag(current())
    except NotFound:
        raise HTTPException(412, "it is not there any more; nothing was changed") from None
    asked = {tag.strip() for tag in if_match.split(",")}
    if not asked & {now, "*"}:
        raise HTTPException(412, "somebody changed it since you read it; read it again, then change it")


def patched(kind: type[Told], current: Body, patch: Mapping[str, Any]) -> Told:
    """A body with the fields that a patch names changed, checked as a whole.

    Raises
    ------
    RequestValidationError
        If the outcome, or a field that is named, cannot be.
    """
    fields = {name: value for name, value in current.model_dump().items() if name in kind.model_fields}
    try:
        return kind.model_validate({**fields, **patch})
    except ValidationError as error:
        found = error.errors(include_url=False, include_input=False, include_context=False)
        raise RequestValidationError([{**each, "loc": ("body", *each["loc"])} for each in found]) from None


def patch_of(kind: type[Body]) -> dict[str, Any]:
    """The OpenAPI description of a body in which every field may be left out."""
    schema = kind.model_json_schema(ref_template="#/components/schemas/{model}")
    schema = {**schema, "required": [], "minProperties": 1, "title": f"{kind.__name__} in part"}
    schema.pop("$defs", None)
    return {"requestBody": {"required": True, "content": {JSON: {"schema": schema}}}}
