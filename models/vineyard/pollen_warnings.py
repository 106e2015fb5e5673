"""Warnings about a block's pollen: what each kind tells, and how urgent it is. Sentences are made elsewhere.

When those about time are given is in ``timing_warnings``, the others in ``pollination``.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import ClassVar, Literal

from models.units import FloatArray
from models.vineyard.reach import NamedBlock
from models.vineyard.synchrony import BoolArray

WarningCode = Literal[
    "pollen_ends_early",
    "pollen_starts_late",
    "pollen_gap",
    "no_pollen_source_in_reach",
    "single_pollen_source",
    "no_viable_pollen",
    "unknown_bloom",
]
WarningLevel = Literal["watch", "act"]
Span = tuple[dt.date, dt.date]

# Our conventions. Pollen ends early, starts late or has a gap in a draw when this share of the block's
# flowers is past its reach; a warning is given from a chance of WATCH on.
NOTABLE_SHARE = 0.05
WATCH = 0.2
ACT = 0.5
# A block depends on one source when this share of its cover, or more, comes from that source only.
MOST = 0.5
_ROUNDING = 1e-9


@dataclass(frozen=True)
class SourceEndsFirst:
    """The last of ``of_sources`` finishes so many days before the block; ``lost_share`` opens without pollen."""

    code: ClassVar[WarningCode] = "pollen_ends_early"
    source: NamedBlock
    of_sources: int
    finish: dt.date
    days_before: int
    lost_share: float


@dataclass(frozen=True)
class SourceStartsLate:
    """The first of ``of_sources`` opens so many days after the block; ``opening`` None: not this season."""

    code: ClassVar[WarningCode] = "pollen_starts_late"
    source: NamedBlock
    of_sources: int
    opening: dt.date | None
    days_after: int
    lost_share: float


@dataclass(frozen=True)
class GapBetweenSources:
    """One source ends before the next one opens."""

    code: ClassVar[WarningCode] = "pollen_gap"
    lost_share: float


@dataclass(frozen=True)
class NoSourceInReach:
    """Nothing in reach makes pollen; ``by_list``: a list of neighbours says what is in reach. [m]"""

    code: ClassVar[WarningCode] = "no_pollen_source_in_reach"
    reach_m: float
    by_list: bool


@dataclass(frozen=True)
class NoneViable:
    """What is in reach makes pollen, but none of it is viable."""

    code: ClassVar[WarningCode] = "no_viable_pollen"
    makers: tuple[NamedBlock, ...]


@dataclass(frozen=True)
class OnlySource:
    """One viable source stands in reach."""

    code: ClassVar[WarningCode] = "single_pollen_source"
    source: NamedBlock


@dataclass(frozen=True)
class MainSource:
    """Others stand in reach, but only this one covers ``lost_share`` of the bloom."""

    code: ClassVar[WarningCode] = "single_pollen_source"
    source: NamedBlock
    lost_share: float


@dataclass(frozen=True)
class BloomNotForecast:
    """The block itself has no forecast."""

    code: ClassVar[WarningCode] = "unknown_bloom"


@dataclass(frozen=True)
class BloomUnfinished:
    """The block may not finish its bloom within the season."""

    code: ClassVar[WarningCode] = "unknown_bloom"


@dataclass(frozen=True)
class SourcesNotForecast:
    """Sources in reach that have no forecast."""

    code: ClassVar[WarningCode] = "unknown_bloom"
    sources: tuple[NamedBlock, ...]
    all_of_them: bool


Warned = (
    SourceEndsFirst
    | SourceStartsLate
    | GapBetweenSources
    | NoSourceInReach
    | NoneViable
    | OnlySource
    | MainSource
    | BloomNotForecast
    | BloomUnfinished
    | SourcesNotForecast
)


@dataclass(frozen=True)
class PollenWarning:
    """One warning for one pistillate block: what of, how urgent, and how likely (0 to 1).

    ``days`` are the first and last day that it is about, by medians; None where no bloom is known.
    """

    block: NamedBlock
    of: Warned
    level: WarningLevel
    chance: float
    days: Span | None = None

    @property
    def code(self) -> WarningCode:
        """What kind of warning it is."""
        return self.of.code


def notable(share: FloatArray) -> BoolArray:
    """Whether a share of the bloom is large enough to warn of."""
    return share >= NOTABLE_SHARE - _ROUNDING


def level_of(chance: float) -> WarningLevel | None:
    """The level that a chance calls for; None where it is too small to mention."""
    if chance >= ACT:
        return "act"
    return "watch" if chance >= WATCH else None


def worst_first(warnings: list[PollenWarning]) -> tuple[PollenWarning, ...]:
    """By level, then by chance."""
    return tuple(sorted(warnings, key=lambda warning: (warning.level != "act", -warning.chance)))
