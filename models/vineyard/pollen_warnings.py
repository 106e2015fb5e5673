"""Warnings about a block's pollen: what each kind tells, and how urgent it is. Sentences are made elsewhere.

When those about time are given is in ``timing_warnings``, the others in ``pollination``.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import ClassVar, Literal

from models.vineyard.reach import NamedBlock

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

# A warning is given from a chance of WATCH on. Our conventions.
WATCH = 0.2
ACT = 0.5
# A block depends on one source when this share of its cover, or more, comes from that source only.
MOST = 0.5


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
class VinesOutOfReach:
    """So many of the block's vines have no source in reach that counts; the others have. [m]"""

    code: ClassVar[WarningCode] = "no_pollen_source_in_reach"
    out: int
    vines: int
    reach_m: float


@dataclass(frozen=True)
class NoneViable:
    """What is in reach makes pollen, but it is recorded as not viable, or its shoots froze this season."""

    code: ClassVar[WarningCode] = "no_viable_pollen"
    makers: tuple[NamedBlock, ...]
    frosted: tuple[NamedBlock, ...]


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
    """The block itself has no forecast; ``lacking``: the bloom stages that the fit knows of no cultivar."""

    code: ClassVar[WarningCode] = "unknown_bloom"
    lacking: tuple[str, ...] = ()


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


@dataclass(frozen=True)
class SourcesFrosted:
    """Sources in reach whose shoots froze this season, beside others that are counted on."""

    code: ClassVar[WarningCode] = "unknown_bloom"
    frosted: tuple[NamedBlock, ...]


@dataclass(frozen=True)
class SourcesFrostedInPart:
    """Sources in reach of whose shoots a share froze this season: each is counted on in so many draws."""

    code: ClassVar[WarningCode] = "unknown_bloom"
    sources: tuple[NamedBlock, ...]
    shares_left: tuple[float, ...]


Warned = (
    SourceEndsFirst
    | SourceStartsLate
    | GapBetweenSources
    | NoSourceInReach
    | VinesOutOfReach
    | NoneViable
    | OnlySource
    | MainSource
    | BloomNotForecast
    | BloomUnfinished
    | SourcesNotForecast
    | SourcesFrosted
    | SourcesFrostedInPart
)


@dataclass(frozen=True)
class Donor:
    """A block that is likely to have open, viable anthers on days on which another lacks pollen: at least one."""

    block: NamedBlock
    days: tuple[dt.date, ...]

    @property
    def first_day(self) -> dt.date:
        """The first of its days."""
        return self.days[0]

    @property
    def last_day(self) -> dt.date:
        """The last of its days."""
        return self.days[-1]


@dataclass(frozen=True)
class PollenWarning:
    """One warning for one pistillate block: what of, how urgent, and how likely (0 to 1).

    ``spans`` are the days that it is about. Where pollen is lacking they are the block's ``uncovered`` days, none
    where no day is likely enough; else the bloom by medians. Empty where no bloom is known. ``ahead`` are those of them
    that are not over yet, ``donors`` the blocks that can give shoots with pollen on them. ``past`` says that all is
    over: then it tells what happened, and asks for nothing.
    """

    block: NamedBlock
    of: Warned
    level: WarningLevel
    chance: float
    spans: tuple[Span, ...] = ()
    ahead: tuple[Span, ...] = ()
    donors: tuple[Donor, ...] = ()
    past: bool = False

    @property
    def code(self) -> WarningCode:
        """What kind of warning it is."""
        return self.of.code

    @property
    def days(self) -> Span | None:
        """First and last of its days."""
        return (self.spans[0][0], self.spans[-1][1]) if self.spans else None


def level_of(chance: float) -> WarningLevel | None:
    """The level that a chance calls for; None where it is too small to mention."""
    if chance >= ACT:
        return "act"
    return "watch" if chance >= WATCH else None


def worst_first(warnings: list[PollenWarning]) -> tuple[PollenWarning, ...]:
    """By level, then by chance."""
    return tuple(sorted(warnings, key=lambda warning: (warning.level != "act", -warning.chance)))
