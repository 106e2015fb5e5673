"""What the store refuses, in plain exceptions that know neither SQL nor HTTP."""

from __future__ import annotations

from collections.abc import Sequence


class StoreError(Exception):
    """Base of all errors that the store raises on purpose."""


class NotFound(StoreError):
    """There is no such thing, or it belongs to another grower."""

    def __init__(self, kind: str, key: str) -> None:
        super().__init__(f"there is no {kind} {key!r}")
        self.kind = kind
        self.key = key


class UnknownReference(StoreError):
    """What was to be stored names things of this kind that do not exist."""

    def __init__(self, kind: str, keys: Sequence[str]) -> None:
        super().__init__(f"unknown {kind}: {', '.join(keys)}")
        self.kind = kind
        self.keys = tuple(keys)


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
