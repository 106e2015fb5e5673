"""How who opens a page reads: as the address says, else as was chosen before on this device, else as the browser asks.

What is read by programs is in English, with dates as in ISO 8601, whatever a browser sends along.
"""

from __future__ import annotations

from contextvars import ContextVar
from urllib.parse import parse_qsl, urlencode

from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.web.problems import FOR_PROGRAMS
from service.words.language import LANGUAGES, PROGRAM, READING, SOURCE, Language, Reading

CHOICES = {"lang": LANGUAGES, "dates": ("day_first", "month_first"), "units": ("metric", "us")}
COOKIE = "capfall_"  # and the name of the choice
A_YEAR = 365 * 24 * 3600  # [s]
ALIKE_FOR_ALL = (*FOR_PROGRAMS, "/static/", "/charts/")
DIFFERS_BY = ("Cookie", "Accept-Language")

BROUGHT_BY: ContextVar[tuple[str, tuple[tuple[str, str], ...]]] = ContextVar("brought_by", default=("/", ()))
"""The address, "" for its own, and query that bring the page that is being made, or one to go on from it by."""


class ReadingOfPages:
    """Notes how a page is read, remembers what is chosen, and says of the answer what it differs by."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["path"].startswith(ALIKE_FOR_ALL):
            READING.set(PROGRAM)
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        named = {name: request.query_params.get(name) for name in CHOICES}
        read = reading_of(request)
        READING.set(read)
        if request.method in ("GET", "HEAD"):
            BROUGHT_BY.set(("", tuple(request.query_params.multi_items())))

        async def told(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name in DIFFERS_BY:
                    headers.add_vary_header(name)
                if headers.get("content-type", "").startswith("text/html"):
                    headers.setdefault("Content-Language", read.language)
                for name, value in named.items():
                    if value in CHOICES[name]:
                        kept = f"{COOKIE}{name}={value}; HttpOnly; Max-Age={A_YEAR}; Path=/; SameSite=lax"
                        headers.append("Set-Cookie", kept)
            await send(message)

        await self.app(scope, receive, told)


def reading_of(request: Request) -> Reading:
    """How a request wants to be answered."""
    chosen = {name: _chosen(request, name) for name in CHOICES}
    said = chosen["lang"]
    spoken = next((each for each in LANGUAGES if each == said), None)
    return Reading(
        on_page=True,
        language=spoken or spoken_of(request.headers.get("accept-language", "")),
        month_first=chosen["dates"] == "month_first",
        us=chosen["units"] == "us",
    )


def _chosen(request: Request, name: str) -> str | None:
    told = (request.query_params.get(name), request.cookies.get(f"{COOKIE}{name}"))
    return next((each for each in told if each in CHOICES[name]), None)


def spoken_of(header: str) -> Language:
    """Which of our languages an Accept-Language header (RFC 9110, 12.5.4) likes best; English where none."""
    weights: dict[Language, float] = {}
    for part in header.split(","):
        tag, _, parameter = part.partition(";")
        language = next((each for each in LANGUAGES if each == tag.strip().lower().partition("-")[0]), None)
        try:
            weight = float(parameter.strip().removeprefix("q=") or 1.0)
        except ValueError:
            continue
        if language is not None and weight > 0:
            weights[language] = max(weight, weights.get(language, 0.0))
    return max(weights, key=lambda each: weights[each], default=SOURCE)


def lead_to(address: str) -> None:
    """Let who chooses how to read come to this address: no link brings the answer to a form again."""
    path, _, query = address.partition("?")
    BROUGHT_BY.set((path, tuple(parse_qsl(query, keep_blank_values=True))))


def this_page(**chosen: str) -> str:
    """The address of the page that is being made, or that it leads to, read as chosen."""
    path, asked = BROUGHT_BY.get()
    return f"{path}?" + urlencode([*(each for each in asked if each[0] not in chosen), *chosen.items()])
