"""Who sends a body shows a key first: what a stranger sends is not even read."""

from __future__ import annotations

from collections.abc import Sequence

from fastapi import HTTPException, Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from service.web.access import known, sent_secret
from service.web.problems import HTTP_KINDS, problem_response

WITH_BODY = ("POST", "PUT", "PATCH", "DELETE")


class KeyFirst:
    """Refuses what would be written without a known key, but for the forms by which one gets in.

    Routes are read whole before their dependencies are asked, so `service.web.access` alone would come late. What a
    key may do is decided there.
    """

    def __init__(self, app: ASGIApp, *, open_forms: Sequence[str]) -> None:
        self.app = app
        self.open_forms = tuple(open_forms)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        refused = None
        if scope["type"] == "http" and scope["method"] in WITH_BODY:
            refused = await self._refused(Request(scope))
        await (self.app if refused is None else refused)(scope, receive, send)

    async def _refused(self, request: Request) -> Response | None:
        if request.scope["path"].startswith(self.open_forms):
            return None
        try:
            await known(request, sent_secret(request))
        except HTTPException as error:
            if error.status_code == 401 and "text/html" in request.headers.get("accept", ""):
                return RedirectResponse("/sign-in", 303)
            kind = HTTP_KINDS[error.status_code]
            return problem_response(request, kind, str(error.detail), headers=error.headers)
        return None
