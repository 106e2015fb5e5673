"""Every request has an id, a line in the log and a place in the numbers of ``/metrics``."""

from __future__ import annotations

import logging
import re
import uuid

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, generate_latest
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from models.errors import Problem
from service import clock
from service.logs import REQUEST
from service.web.problems import BAD_INPUT, problem_response
from service.web.turns import Turns

log = logging.getLogger(__name__)

HEADER = "X-Request-ID"
FITTING = re.compile(r"[\w.-]{1,64}", re.ASCII)
ASKED_ALL_THE_TIME = ("/healthz", "/readyz", "/metrics")
RETRY_AFTER_SECONDS = 5


class Metrics:
    """How many requests came, how they ended and how long they took; who computes and who waits for a turn."""

    def __init__(self, turns: Turns) -> None:
        self._registry = CollectorRegistry()
        self._requests = Counter(
            "capfall_requests", "Requests answered.", ["method", "route", "status"], registry=self._registry
        )
        self._seconds = Histogram(
            "capfall_request_seconds", "How long answers took.", ["route"], registry=self._registry
        )
        for name, told, number in (
            ("computing", "Requests that compute.", lambda: turns.taken),
            ("waiting", "Requests that wait for a turn to compute.", lambda: turns.waiting),
        ):
            Gauge(f"capfall_requests_{name}", told, registry=self._registry).set_function(number)

    def count(self, method: str, route: str, status: int, seconds: float) -> None:
        """One more answer."""
        self._requests.labels(method, route, status).inc()
        self._seconds.labels(route).observe(seconds)

    def text(self) -> bytes:
        """As Prometheus reads it."""
        return generate_latest(self._registry)


class Traffic:
    """Outside of all that answers; refuses what no database can hold, and tells when to come back after a 503."""

    def __init__(self, app: ASGIApp, *, metrics: Metrics) -> None:
        self.app = app
        self.metrics = metrics

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        given = Headers(scope=scope).get(HEADER, "")
        request = given if FITTING.fullmatch(given) else uuid.uuid4().hex
        REQUEST.set(request)
        scope.setdefault("state", {})["request_id"] = request
        began, status = clock.seconds(), 500

        async def named(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                headers = MutableHeaders(scope=message)
                headers[HEADER] = request
                if status == 503:
                    headers.setdefault("Retry-After", str(RETRY_AFTER_SECONDS))
            await send(message)

        try:
            await self._checked(scope, receive, named)
        finally:
            self._note(scope, status, clock.seconds() - began)

    async def _checked(self, scope: Scope, receive: Receive, send: Send) -> None:
        if "\0" in scope["path"] or b"%00" in scope["query_string"]:
            problem = Problem("path" if "\0" in scope["path"] else "query", "holds a NUL character")
            answer = problem_response(
                Request(scope), BAD_INPUT, "the address cannot be right", errors=[problem]
            )
            await answer(scope, receive, send)
            return
        await self.app(scope, receive, send)

    def _note(self, scope: Scope, status: int, seconds: float) -> None:
        route = getattr(scope.get("route"), "path", None) or "none"
        self.metrics.count(scope["method"], route, status, seconds)
        told = {"method": scope["method"], "route": route, "status": status, "ms": round(seconds * 1000)}
        level = logging.DEBUG if route in ASKED_ALL_THE_TIME else logging.INFO
        log.log(level, "request", extra={"told": told})
