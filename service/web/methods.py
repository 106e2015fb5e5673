"""HEAD and OPTIONS on every route (RFC 9110, 9.3.2 and 9.3.7)."""

from __future__ import annotations

from collections.abc import Sequence

from starlette.datastructures import MutableHeaders
from starlette.responses import Response
from starlette.routing import BaseRoute, Match, Mount
from starlette.types import ASGIApp, Message, Receive, Scope, Send

OFFERED = ("GET", "PUT", "POST", "PATCH", "DELETE")


class HeadAndOptions:
    """Answers HEAD as GET without its body, and OPTIONS with what a path allows.

    A refusal (405) names all of that too: a router alone names the methods of the first route of the path.
    """

    def __init__(self, app: ASGIApp, *, routes: Sequence[BaseRoute]) -> None:
        self.app = app
        self.routes = routes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        if scope["method"] == "OPTIONS" and (allow := self._allowed(scope["path"])):
            await Response(status_code=204, headers={"Allow": allow})(scope, receive, send)
            return
        head = scope["method"] == "HEAD"

        async def told(message: Message) -> None:
            refused = message["type"] == "http.response.start" and message["status"] == 405
            # looked up for a refusal alone: to try all routes takes longer than many an answer
            if refused and (allow := self._allowed(scope["path"])):
                MutableHeaders(scope=message)["Allow"] = allow
            if head and message["type"] == "http.response.body":
                message = {**message, "body": b""}
            await send(message)

        await self.app({**scope, "method": "GET"} if head else scope, receive, told)

    def _allowed(self, path: str) -> str:
        """The methods that some route of a path answers; empty where there is no such path.

        A path that is a route as it is written, as /v1/fits/import, is no identifier of another's.
        """
        own = [route for route in self.routes if getattr(route, "path", None) == path]
        methods = [
            method for method in OFFERED if any(_answers(route, path, method) for route in own or self.routes)
        ]
        if "GET" in methods:
            methods.append("HEAD")
        return ", ".join([*methods, "OPTIONS"] if methods else [])


def _answers(route: BaseRoute, path: str, method: str) -> bool:
    if isinstance(route, Mount) and method != "GET":  # files: it matches whatever is asked of it
        return False
    scope = {"type": "http", "method": method, "path": path, "root_path": "", "headers": []}
    return route.matches(scope)[0] is Match.FULL
