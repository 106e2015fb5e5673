"""Pages of one of several growers stand under ``/growers/{grower}``; routes know them by the path behind it."""

from __future__ import annotations

import re
from collections.abc import Sequence

from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Receive, Scope, Send

from service.store.engine import Store
from service.store.errors import NotFound

_OF_GROWER = re.compile(r"/growers/([a-z0-9][a-z0-9-]{0,62})(?=/)")
_LINKS = re.compile(rb'((?:href|action)=")(/(?:vineyards|v1/vineyards|v1/export|changes|demo|everything)\b)')


class GrowerPath:
    """Takes the grower out of a path, for the routes, and notes it in the scope."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        found = _OF_GROWER.match(scope["path"]) if scope["type"] == "http" else None
        if found is not None:
            path = scope["path"][found.end() :]
            scope = {**scope, "path": path, "raw_path": path.encode(), "grower": found[1]}
        await self.app(scope, receive, send)


def address_in(grower: str, path: str) -> str:
    """The address of a page of one of several growers."""
    return f"/growers/{grower}{path}"


def only_grower_with(store: Store, growers: Sequence[str], vineyard: str) -> str | None:
    """The one of these growers who has a vineyard of that identifier; None where none has, or several have."""
    found = [grower for grower in growers if _has(store, grower, vineyard)]
    return found[0] if len(found) == 1 else None


def _has(store: Store, grower: str, vineyard: str) -> bool:
    with store.transaction(grower, read_only=True) as records:
        try:
            records.vineyards.get(vineyard)
        except NotFound:
            return False
    return True


def keep_grower(request: Request, response: Response) -> Response:
    """Let the links, forms and redirects of a page lead to pages of the same grower."""
    grower = request.scope.get("grower")
    if grower is None:
        return response
    if "location" in response.headers:
        response.headers["location"] = address_in(grower, response.headers["location"])
    elif response.headers.get("content-type", "").startswith("text/html"):
        prefix = address_in(grower, "").encode()
        response.body = _LINKS.sub(rb"\1" + prefix + rb"\2", bytes(response.body))
        response.headers["content-length"] = str(len(response.body))
    return response
