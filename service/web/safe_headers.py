"""Headers that keep a browser from doing more with an answer than it is meant for, on every answer."""

from __future__ import annotations

from collections.abc import Mapping

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

# No script, picture or style from elsewhere, whatever a name or a note says. The chart library writes style elements.
SAFE_HEADERS: Mapping[str, str] = {
    "Content-Security-Policy": (
        "default-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; object-src 'none'; "
        "base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
NOT_SHARED = "private, no-cache"
ALIKE_FOR_ALL = ("/static/", "/charts/")


class SafeHeaders:
    """Adds the headers to every answer; what is one grower's is kept by no cache between."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def safe(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.update(SAFE_HEADERS)
                if not scope["path"].startswith(ALIKE_FOR_ALL):
                    headers.setdefault("Cache-Control", NOT_SHARED)
            await send(message)

        await self.app(scope, receive, safe if scope["type"] == "http" else send)
