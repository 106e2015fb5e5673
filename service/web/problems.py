"""What went wrong, told to the client in one shape: RFC 9457 problem details with located errors."""

from __future__ import annotations

import logging
from collections.abc import Awaitable, Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from http import HTTPStatus

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from models.errors import BadInput, CapfallError, MissingDays, NotEnoughData, Problem
from service.likeness import nearest
from service.store.errors import (
    AlreadyThere,
    AlreadyUndone,
    CannotUndo,
    InUse,
    NotEmpty,
    NotFound,
    StoreError,
    TooManyJobs,
    Unavailable,
    UnknownReference,
)
from service.usecases.fit_in_use import NoFitInUse
from service.usecases.hindcast_jobs import NotEnded
from service.web.safe_headers import SAFE_HEADERS
from service.words.errors import Reader, error_words
from service.words.language import N_, _

log = logging.getLogger(__name__)

MEDIA_TYPE = "application/problem+json"


@dataclass(frozen=True)
class Kind:
    """One kind of problem: the last part of its ``type``, its title and its HTTP status."""

    slug: str
    title: str
    status: int


BAD_INPUT = Kind("bad-input", N_("The input cannot be right"), 422)
NOT_FOUND = Kind("not-found", N_("There is no such thing"), 404)
INTERNAL = Kind("internal", N_("The service failed"), 500)
UNAVAILABLE = Kind("unavailable", N_("The service is not ready"), 503)
OTHER = Kind("http", N_("The request was refused"), 400)  # with the title and status that it comes with

# Raised on purpose: their messages are written for the client. The first class that fits decides.
KINDS: tuple[tuple[type[CapfallError | StoreError], Kind], ...] = (
    (BadInput, BAD_INPUT),
    (MissingDays, Kind("missing-days", N_("Temperatures are missing on days that are needed"), 422)),
    (NoFitInUse, Kind("no-fit-in-use", N_("The vineyard has no fit in use"), 409)),
    (NotEnoughData, Kind("not-enough-data", N_("There is too little data for this"), 422)),
    (CapfallError, BAD_INPUT),
    (Unavailable, UNAVAILABLE),
    (NotFound, NOT_FOUND),
    (NotEnded, NOT_FOUND),
    (UnknownReference, Kind("unknown-reference", N_("Something is named that does not exist"), 422)),
    (InUse, Kind("in-use", N_("It is still needed"), 409)),
    (AlreadyThere, Kind("already-there", N_("The identifier is taken"), 409)),
    (TooManyJobs, Kind("too-many-jobs", N_("Too many jobs have not ended"), 429)),
    (NotEmpty, Kind("not-empty", N_("There are data already"), 409)),
    (AlreadyUndone, Kind("already-undone", N_("It has been undone before"), 409)),
    (CannotUndo, Kind("needed-later", N_("Later changes rest on it"), 409)),
)

# Raised by the framework and by the few checks at the edge.
HTTP_KINDS: Mapping[int, Kind] = {
    kind.status: kind
    for kind in (
        Kind("bad-request", N_("The request cannot be read"), 400),
        Kind("key-needed", N_("A key is needed"), 401),
        Kind("forbidden", N_("This is not allowed"), 403),
        NOT_FOUND,
        Kind("method-not-allowed", N_("This method is not offered here"), 405),
        Kind("changed-meanwhile", N_("It is another by now"), 412),
        Kind("too-large", N_("The body is too large"), 413),
        Kind("unsupported-media-type", N_("This media type cannot be read here"), 415),
        Kind("too-many", N_("Too many at once"), 429),
        UNAVAILABLE,
    )
}


def all_kinds() -> Mapping[str, Kind]:
    """Every kind of problem, by the last part of its ``type``."""
    raised = (kind for _, kind in KINDS)
    return {kind.slug: kind for kind in (*raised, *HTTP_KINDS.values(), OTHER, INTERNAL)}


PageOf = Callable[[Request, Kind, str, Sequence[Problem], Mapping[str, str] | None], Response]
"""A page about a problem, for people: the request, its kind, detail, where it stands, and headers."""

FOR_PROGRAMS = ("/v1/", "/openapi")


def reads_pages(request: Request) -> bool:
    """Whether a person is asking: a browser that takes HTML, of a path that is not the API's."""
    return not request.url.path.startswith(FOR_PROGRAMS) and "text/html" in request.headers.get("accept", "")


def problem_response(
    request: Request,
    kind: Kind,
    detail: str,
    *,
    errors: Sequence[Problem] = (),
    headers: Mapping[str, str] | None = None,
) -> Response:
    """The one shape of every error; to a person the same as a page, where the app has made one (``problem_page``)."""
    page: PageOf | None = getattr(request.app.state, "problem_page", None)
    if page is not None and reads_pages(request):
        return page(request, kind, detail, errors, headers)
    body = {
        "type": f"/problems/{kind.slug}",
        "title": kind.title,
        "status": kind.status,
        "detail": detail,
        "instance": request.scope["path"],
        "errors": [{"where": error.where, "problem": error.problem} for error in errors],
    }
    return JSONResponse(body, kind.status, headers, MEDIA_TYPE)


def located(error: Exception) -> Sequence[Problem]:
    """Where an error that was raised on purpose stands."""
    match error:
        case BadInput():
            return error.problems
        case NotFound():
            return [Problem(error.kind, _("{name} does not exist", name=repr(error.key)))]
        case UnknownReference():
            return [Problem(error.kind, _unknown(key, error.known)) for key in error.keys]
        case InUse():
            return [Problem(error.kind, _("used by {user}", user=user)) for user in error.users]
        case AlreadyThere():
            return [Problem(error.kind, _("{name} is taken", name=repr(error.key)))]
        case NotEmpty():
            return [Problem(name, _("{count} stored", count=count)) for name, count in error.held.items()]
        case AlreadyUndone():
            return [Problem(f"change {error.change}", f"undone by change {error.by}")]
        case CannotUndo():
            return [
                Problem(
                    "before changes were kept" if each.change is None else f"change {each.change}",
                    each.problem,
                )
                for each in error.blockers
            ]
    return ()


def _unknown(key: str, known: Collection[str]) -> str:
    near = nearest(key, known)
    if near is None:
        return _("{name} does not exist", name=repr(key))
    return _("{name} does not exist; did you mean {near}?", name=repr(key), near=near)


async def _on_purpose(request: Request, error: Exception) -> Response:
    kind = next((kind for raised, kind in KINDS if isinstance(error, raised)), None)
    if kind is None:
        raise error
    if isinstance(error, Unavailable):
        log.error("the database cannot be used: %s", error.why)
    return problem_response(request, kind, error_words(error, Reader.HTTP), errors=located(error))


async def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    status = HTTPStatus(error.status_code)
    kind = HTTP_KINDS.get(status) or replace(OTHER, title=status.phrase, status=status)
    bare = error.detail == status.phrase  # the framework's own, without a reason
    detail = f"{request.method} {request.scope['path']}" if bare else str(error.detail)
    return problem_response(request, kind, detail, headers=error.headers)


async def _invalid(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    errors = [
        Problem(".".join(str(part) for part in found["loc"]), found["msg"].removeprefix("Value error, "))
        for found in error.errors()
    ]
    return problem_response(request, BAD_INPUT, "the request does not fit what is asked for", errors=errors)


async def _unexpected(request: Request, error: Exception) -> Response:  # noqa: ARG001
    # Nothing of the error itself leaves the house. The server that runs us prints its traceback: Starlette
    # raises it again once this answer is sent.
    log.error("%s %s failed", request.method, getattr(request.scope.get("route"), "path", "no route"))
    told = _("something went wrong on our side; it has been noted")
    known = getattr(request.state, "request_id", None)
    headers = SAFE_HEADERS if known is None else {**SAFE_HEADERS, "X-Request-ID": known}
    return problem_response(request, INTERNAL, told, headers=headers)  # it passes no middleware


HANDLERS: Mapping[type[Exception], Callable[[Request, Exception], Awaitable[Response]]] = {
    CapfallError: _on_purpose,
    StoreError: _on_purpose,
    RequestValidationError: _invalid,
    HTTPException: _http,
    Exception: _unexpected,
}


class BodyLimit:
    """Refuses a body that is too large: by its announced length, or else as soon as too much has come."""

    def __init__(self, app: ASGIApp, *, max_bytes: int) -> None:
        self.app = app
        self.max_bytes = max_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        detail = f"at most {self.max_bytes} bytes are taken; split the file, or raise CAPFALL_MAX_UPLOAD_MB"
        announced = dict(scope["headers"]).get(b"content-length", b"0")
        if announced.isdigit() and int(announced) > self.max_bytes:
            await problem_response(Request(scope), HTTP_KINDS[413], detail)(scope, receive, send)
            return
        taken = 0

        async def counted() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > self.max_bytes:
                raise HTTPException(413, detail)
            return message

        await self.app(scope, counted, send)


def install(app: FastAPI, *, max_bytes: int) -> None:
    """Give an app the one shape for every source of error."""
    for raised, handler in HANDLERS.items():
        app.add_exception_handler(raised, handler)
    app.add_middleware(BodyLimit, max_bytes=max_bytes)
