"""The records of the grower who asks, in one transaction; the store and the long work behind them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated

from fastapi import Depends, Query, Request

from service.jobs import JobRunner
from service.store.engine import Store
from service.store.repositories import Repositories
from service.web.access import Grower


def store(request: Request) -> Store:
    """The store of the app that serves this request; what is written through it was written by who asks."""
    kept = request.app.state.store
    assert isinstance(kept, Store)
    who = getattr(request.state, "asker", None)
    return kept if who is None else kept.acting(who.name)


def jobs(request: Request) -> JobRunner:
    """What runs the long work of the app that serves this request."""
    runner = request.app.state.jobs
    assert isinstance(runner, JobRunner)
    return runner


Preview = Annotated[
    bool, Query(description="Answer as if it were done: the same receipt, and nothing is stored.")
]


def reading(request: Request, grower: Grower) -> Iterator[Repositories]:
    """The grower's records, to read."""
    with store(request).transaction(grower, read_only=True) as records:
        yield records


@contextmanager
def changing(request: Request, grower: str, *, preview: bool) -> Iterator[Repositories]:
    """A transaction of a request, whose answer names the change; a preview makes none."""
    with store(request).transaction(grower, preview=preview) as records:
        yield records
    if not preview:
        request.state.change = records.journal.number


def writing(request: Request, grower: Grower, preview: Preview = False) -> Iterator[Repositories]:
    """The grower's records, to change: all of it at the end of the route, or nothing after an error."""
    with changing(request, grower, preview=preview) as records:
        yield records


# With "function" the transaction ends before the answer leaves: what a client was told is stored, is stored.
Reading = Annotated[Repositories, Depends(reading, scope="function")]
Writing = Annotated[Repositories, Depends(writing, scope="function")]
