"""Computed answers, kept until the data or the day make them old.

A route that depends on `KEPT` is left out where its answer to the same question is still true: the journal
tells the last change of the grower's data, and the clock which day it is there. Both are looked up in every request,
so no change and no other process of the service has to tell anyone. The change is looked up before the data are read:
what is computed is never older than what it is kept for.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Coroutine, Hashable, Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import Depends, Request, Response
from fastapi.routing import APIRoute

from service import clock
from service.bounded import Bounded
from service.store.repositories import Repositories
from service.web.access import Grower
from service.web.records import store
from service.words.language import reading

MOST_BYTES = 64_000_000  # of all answers that one process keeps
OVERHEAD_BYTES = 1_000  # of one answer: its question and headers, about
NO_QUESTION = ("key", "grower")  # in a query these say who asks, not what

Question = tuple[Hashable, ...]
State = tuple[Hashable, ...]


@dataclass(frozen=True)
class Answer:
    """What was answered, and the state of the data and the day on which it rests."""

    state: State
    body: bytes
    headers: Mapping[str, str]

    def told(self, request: Request) -> Response:
        """The answer, or that nothing has changed since the one that the client holds."""
        if is_known(self.headers["etag"], request.headers.get("if-none-match")):
            held = {name: self.headers[name] for name in ("etag", "cache-control")}
            return Response(status_code=304, headers=held)
        return Response(self.body, headers=dict(self.headers))


class StillTrue(Exception):
    """A kept answer is still true: nothing has to be computed."""

    def __init__(self, answer: Answer) -> None:
        super().__init__("an answer is kept")
        self.answer = answer


class KeptAnswers:
    """The answers that one process keeps, one a question; where they take too much, those not asked for longest go.

    Parameters
    ----------
    most_bytes : int
    """

    def __init__(self, most_bytes: int = MOST_BYTES) -> None:
        self._answers: Bounded[Question, Answer] = Bounded(
            most_bytes, lambda answer: len(answer.body) + OVERHEAD_BYTES
        )
        self.timezones: dict[str, tuple[Hashable, set[str | None]]] = {}
        """Of each grower's vineyards, as of the last change that was looked at."""

    def find(self, question: Question, state: State) -> Answer | None:
        """The answer to a question, if it was given in this state."""
        answer = self._answers.find(question)
        return answer if answer is not None and answer.state == state else None

    def keep(self, question: Question, answer: Answer) -> None:
        """Put an answer in the place of the one to the same question."""
        self._answers.keep(question, answer)


class KeptRoute(APIRoute):
    """A route that tells kept answers, keeps new ones, and gives both an ETag (RFC 9110, 8.8.3)."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """The handler, which computes only what is not kept."""
        compute = super().get_route_handler()

        async def handled(request: Request) -> Response:
            try:
                response = await compute(request)
            except StillTrue as still:
                return still.answer.told(request)
            if not hasattr(request.state, "asked") or response.status_code != 200:
                return response
            body = bytes(response.body)
            tag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
            headers = {**response.headers, "etag": tag, "cache-control": "private, no-cache"}
            del headers["content-length"]
            if request.state.asked is None:
                return Answer((), body, headers).told(request)
            question, state = request.state.asked
            answer = Answer(state, body, headers)
            request.app.state.kept.keep(question, answer)
            return answer.told(request)

        return handled


def state_of(records: Repositories, kept: KeptAnswers) -> State:
    """What changes with every change of a grower's data, and with the day in any place where they have a vineyard."""
    version = records.journal.version()
    held = kept.timezones.get(records.grower)
    if held is None or held[0] != version:
        held = kept.timezones[records.grower] = (version, records.vineyards.timezones())
    return (version, *sorted(clock.today(zone) for zone in held[1]))


def _look(request: Request, grower: Grower) -> None:
    _ask(request, grower, told=False)


def _look_with_told(request: Request, grower: Grower) -> None:
    _ask(request, grower, told=True)


def _ask(request: Request, grower: str, *, told: bool) -> None:
    if request.method != "GET":
        return
    query = [each for each in request.query_params.multi_items() if each[0] not in NO_QUESTION]
    # units, dates and language may have been chosen before, or be the browser's
    asked = (tuple(sorted(query)), reading(), request.headers.get("accept"))
    # pages show no form that the key may not use
    question = (grower, request.state.asker.role, request.url.path, *asked)
    with store(request).transaction(grower, read_only=True) as records:
        state = state_of(records, request.app.state.kept)
        if told:
            state = (*state, records.told_days.version())
    answer = request.app.state.kept.find(question, state)
    if answer is not None:
        raise StillTrue(answer)
    request.state.asked = question, state


KEPT = Depends(_look)
"""For routes of a `KeptRoute` router whose answers follow from the grower's data, the day and the question alone.

It comes before what waits for a turn to compute.
"""

KEPT_WITH_TOLD = Depends(_look_with_told)
"""The same for answers that follow from what was told too, which is no change of the data."""


def not_kept(request: Request) -> None:
    """Say of a request that its answer rests on more than that; it has an ETag all the same."""
    request.state.asked = None


def is_known(tag: str, told: str | None) -> bool:
    """Whether an If-None-Match header names the tag (RFC 9110, 13.1.2: weak tags compare alike)."""
    if told is None:
        return False
    known = [each.strip().removeprefix("W/") for each in told.split(",")]
    return known == ["*"] or tag in known
