"""What the store refuses, in plain exceptions that know neither SQL nor HTTP."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass


class StoreError(Exception):
    """Base of all errors that the store raises on purpose."""


class Unavailable(StoreError):
    """The database is away, locked or full; nothing of the transaction was kept. ``why`` is for the operator."""

    def __init__(self, why: str) -> None:
        super().__init__(
            "the database cannot be used at the moment; nothing was stored, try again in a little while"
        )
        self.why = why


class NotFound(StoreError):
    """There is no such thing, or it belongs to another grower."""

    def __init__(self, kind: str, key: str) -> None:
        super().__init__(f"there is no {kind} {key!r}")
        self.kind = kind
        self.key = key


class UnknownReference(StoreError):
    """What was to be stored names things of this kind that do not exist; ``known`` are those that do."""

    def __init__(self, kind: str, keys: Sequence[str], known: Iterable[str] = ()) -> None:
        super().__init__(f"unknown {kind}: {', '.join(keys)}")
        self.kind = kind
        self.keys = tuple(keys)
        self.known = frozenset(known)


class InUse(StoreError):
    """What was to be deleted is still needed; ``users`` says by what: ``"block b1 of vineyard home"``."""

    def __init__(self, kind: str, key: str, users: Sequence[str]) -> None:
        super().__init__(f"{kind} {key!r} is still used by {', '.join(users)}")
        self.kind = kind
        self.key = key
        self.users = tuple(users)


class AlreadyThere(StoreError):
    """Something else is stored under this identifier, and it is of a kind that is never replaced."""

    def __init__(self, kind: str, key: str) -> None:
        super().__init__(f"another {kind} is already stored as {key!r}")
        self.kind = kind
        self.key = key


class NotEmpty(StoreError):
    """Only a grower without any data takes an export; ``held`` tells how many rows of what are in the way."""

    def __init__(self, grower: str, held: Mapping[str, int]) -> None:
        super().__init__(f"grower {grower!r} has data of its own, which an import does not mix with others")
        self.held = dict(held)


class TooManyJobs(StoreError):
    """The grower has so many jobs that have not ended that no other is taken in."""

    def __init__(self, most: int) -> None:
        super().__init__(
            f"{most} jobs wait or run already, and no more are taken in; cancel one, or wait for its end"
        )


class AlreadyUndone(StoreError):
    """The change was undone before, by another."""

    def __init__(self, change: int, by: int) -> None:
        super().__init__(f"change {change} was undone by change {by}; to have it back, undo change {by}")
        self.change = change
        self.by = by


@dataclass(frozen=True)
class Blocker:
    """Why a change cannot be undone. ``change`` is None where that was before changes were kept."""

    change: int | None
    problem: str


class CannotUndo(StoreError):
    """Later changes wrote the same rows, or refer to them."""

    def __init__(self, change: int, blockers: Sequence[Blocker]) -> None:
        later = sorted({blocker.change for blocker in blockers if blocker.change is not None}, reverse=True)
        first = f"; undo change {later[0]} first" if later else ""
        super().__init__(f"later changes rest on change {change}{first}")
        self.change = change
        self.blockers = tuple(blockers)
