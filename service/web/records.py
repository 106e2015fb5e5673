"""The records of the grower who asks, in one transaction; the store and the long work behind them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

from fastapi import Depends, Request

from service.jobs import JobRunner
from service.store.engine import Store
from service.store.repositories import Repositories
from service.web.access import Grower


def store(request: Request) -> Store:
    """The store of the app that serves this request."""
    kept = request.app.state.store
    assert isinstance(kept, Store)
    return kept


def jobs(request: Request) -> JobRunner:
    """What runs the long work of the app that serves this request."""
    runner = request.app.state.jobs
    assert isinstance(runner, JobRunner)
    return runner


def reading(request: Request, grower: Grower) -> Iterator[Repositories]:
    """The grower's records, to read."""
    with store(request).transaction(grower, read_only=True) as records:
        yield records


def writing(request: Request, grower: Grower) -> Iterator[Repositories]:
    """The grower's records, to change: all of it at the end of the route, or nothing after an error."""
    with store(request).transaction(grower) as records:
        yield records


# With "function" the transaction ends before the answer leaves: what a client was told is stored, is stored.
Reading = Annotated[Repositories, Depends(reading, scope="function")]
Writing = Annotated[Repositories, Depends(writing, scope="function")]
