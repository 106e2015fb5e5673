"""Heavy work takes turns: few compute at once, some wait, and beyond that it is refused rather than piled up."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from anyio import CapacityLimiter, WouldBlock, fail_after
from fastapi import Depends, HTTPException, Request

from service.workers import available_cores

MOST_WAITING = 32
LONGEST_WAIT_SECONDS = 30.0
LATER = "ask again a little later"


class Turns:
    """As many at once as there are cores: more would only slow each other down.

    Parameters
    ----------
    at_once : int, optional
    """

    def __init__(self, at_once: int | None = None) -> None:
        self._limiter = CapacityLimiter(available_cores() if at_once is None else at_once)
        self.waiting = 0

    @property
    def taken(self) -> int:
        """How many compute."""
        return self._limiter.borrowed_tokens

    @asynccontextmanager
    async def turn(self) -> AsyncIterator[None]:
        """One turn, waited for.

        Raises
        ------
        HTTPException
            503 if too many wait already, or the turn does not come in time.
        """
        holder = object()
        try:
            self._limiter.acquire_on_behalf_of_nowait(holder)
        except WouldBlock:
            await self._wait(holder)
        try:
            yield
        finally:
            self._limiter.release_on_behalf_of(holder)

    async def _wait(self, holder: object) -> None:
        if self.waiting >= MOST_WAITING:
            raise HTTPException(503, f"{MOST_WAITING} requests wait for a turn; {LATER}")
        self.waiting += 1
        try:
            with fail_after(LONGEST_WAIT_SECONDS):
                await self._limiter.acquire_on_behalf_of(holder)
        except TimeoutError:
            raise HTTPException(503, f"too much is being computed; {LATER}") from None
        finally:
            self.waiting -= 1


async def _turn(request: Request) -> AsyncIterator[None]:
    async with request.app.state.turns.turn():
        yield


HEAVY = Depends(_turn, scope="function")
"""For routes that compute for a second or more."""
