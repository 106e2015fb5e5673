"""What can go wrong in the computation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum, auto


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong: where it stands, and what would be right."""

    where: str
    problem: str


class Remedy(StrEnum):
    """What would help. How that is done depends on where the reader stands, and is said elsewhere."""

    MAKE_FIT = auto()
    USE_FIT = auto()
    ADD_BLOCKS = auto()
    ADD_STATION = auto()
    ADD_TEMPERATURES = auto()
    EARLIER_TEMPERATURES = auto()
    A_WHOLE_PAST_YEAR = auto()
    LOG_BLOOM = auto()
    EARLIER_BLOOM = auto()
    RUN_HINDCAST = auto()


class CapfallError(ValueError):
    """Base of all errors that the computation raises on purpose; ``remedy`` says what would help, if known."""

    def __init__(self, message: str, *, remedy: Remedy | None = None) -> None:
        super().__init__(message)
        self.remedy = remedy


class BadInput(CapfallError):
    """Input that cannot be right; ``problems`` locates each fault."""

    def __init__(
        self, message: str, problems: Sequence[Problem] = (), *, remedy: Remedy | None = None
    ) -> None:
        super().__init__(message, remedy=remedy)
        self.message = message
        self.problems = tuple(problems)


class MissingDays(CapfallError):
    """Temperatures are missing on days that are needed, and the gap rule does not allow to fill them."""


class NotEnoughData(CapfallError):
    """Too few seasons or observations for what was asked."""
