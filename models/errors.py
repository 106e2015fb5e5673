"""What can go wrong in the computation, in words that say what to try."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong: where it stands, and what would be right."""

    where: str
    problem: str


class CapfallError(ValueError):
    """Base of all errors that the computation raises on purpose."""


class BadInput(CapfallError):
    """Input that cannot be right; ``problems`` locates each fault."""

    def __init__(self, message: str, problems: Sequence[Problem] = ()) -> None:
        super().__init__(message)
        self.message = message
        self.problems = tuple(problems)


class MissingDays(CapfallError):
    """Temperatures are missing on days that are needed, and the gap rule does not allow to fill them."""


class NotEnoughData(CapfallError):
    """Too few seasons or observations for what was asked."""
