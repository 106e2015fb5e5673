"""Every answer to a request that wrote a grower's data names the change that it made."""

from __future__ import annotations

from starlette.datastructures import MutableHeaders
from starlette.requests import HTTPConnection
from starlette.types import ASGIApp, Message, Receive, Scope, Send

HEADER = "Capfall-Change"


class ChangeHeader:
    """Adds the header where a request has left the number of its change in ``state.change``."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def named(message: Message) -> None:
            if message["type"] == "http.response.start":
                change = getattr(HTTPConnection(scope).state, "change", None)
                if change is not None:
                    MutableHeaders(scope=message)[HEADER] = str(change)
            await send(message)

        await self.app(scope, receive, named if scope["type"] == "http" else send)
