"""Warnings about a block's pollen, and those that follow from where things stand and what is known.

Those about time are in ``timing_warnings``. What to do (flowering shoots in water, potted or interplanted
self-fertile vines, a look at the pollen) is common practice, no source.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Literal

from models.units import FloatArray, feet_from_metres
from models.vineyard.synchrony import BoolArray
from models.vineyard.wording import listed, percent, sentence

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

# Our conventions. Pollen ends early, starts late or has a gap in a draw when this share of the block's
# flowers is past its reach; a warning is given from a chance of WATCH on.
NOTABLE_SHARE = 0.05
WATCH = 0.2
ACT = 0.5
# A block hangs on one source when this share of its cover, or more, comes from that source only.
MOST = 0.5
_ROUNDING = 1e-9

_SECOND_SOURCE = (
    "Look whether it flowers and its pollen is good; a second self-fertile cultivar within reach that blooms "
    "with the block would make it safe."
)


@dataclass(frozen=True)
class PollenWarning:
    """One warning for one pistillate block: what, how urgent, how likely (0 to 1), and in words.

    ``days`` are the first and last day that it is about, by medians; None where no bloom is known.
    """

    code: WarningCode
    level: WarningLevel
    chance: float
    message: str
    days: tuple[dt.date, dt.date] | None = None


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


def no_source_in_reach(name: str, *, reach_m: float, by_list: bool, blooming: str) -> PollenWarning:
    """Nothing in reach makes pollen. ``blooming`` says when the block blooms, or is empty."""
    where = (
        "among the neighbours given for"
        if by_list
        else f"within {reach_m:g} m ({feet_from_metres(reach_m):.0f} ft) of"
    )
    return PollenWarning(
        "no_pollen_source_in_reach",
        "act",
        1.0,
        f"No pollen source stands {where} {name}: its flowers are pistillate and would stay without "
        f"pollen. Place flowering shoots of a self-fertile cultivar in water among its vines{blooming}, "
        "or interplant a self-fertile cultivar that blooms with it.",
    )


def no_viable_pollen(name: str, makers: list[str], *, blooming: str) -> PollenWarning:
    """What is in reach makes pollen, but none of it is viable."""
    return PollenWarning(
        "no_viable_pollen",
        "act",
        1.0,
        f"In reach of {name} only {listed(makers)} could shed pollen, and it is recorded as not viable. "
        "Check that record; if it holds, place flowering shoots of another self-fertile cultivar in "
        f"water{blooming}, or interplant one with viable pollen.",
    )


def only_source(name: str, source: str) -> PollenWarning:
    """One viable source stands in reach."""
    return PollenWarning(
        "single_pollen_source",
        "watch",
        1.0,
        f"{sentence(name)} hangs on one pollen source, {source}: should it fail, no pollen is left in reach. "
        f"{_SECOND_SOURCE}",
    )


def main_source(name: str, source: str, *, chance: float, lost: float) -> PollenWarning | None:
    """Others stand in reach, but most cover is this one's. ``lost``: the share only it covers."""
    if chance < ACT:
        return None
    return PollenWarning(
        "single_pollen_source",
        "watch",
        chance,
        f"{sentence(name)} hangs mostly on one pollen source, {source}: the others in reach bloom at other "
        f"times, and should it fail, about {percent(lost)} of the bloom would lose its pollen. "
        f"{_SECOND_SOURCE}",
    )


def unknown_bloom(name: str, *, chance: float) -> PollenWarning | None:
    """The block itself has no forecast, or does not finish its bloom in many of the draws."""
    level = level_of(chance)
    if level is None:
        return None
    if chance < 1.0:
        message = (
            f"There is a {percent(chance)} chance that {name} does not finish its bloom within the "
            "season; the cover stated is that of the other cases."
        )
    else:
        message = (
            f"The bloom of {name} cannot be forecast, so its cover is not known. Record bloom dates or "
            "visits of it, or take over a fit that knows its cultivar."
        )
    return PollenWarning("unknown_bloom", level, chance, message)


def unknown_sources(name: str, unknown: list[str], *, all_of_them: bool) -> PollenWarning:
    """Sources in reach that have no forecast."""
    effect = (
        "so its cover is not known" if all_of_them else "so the cover stated leaves it out and may be too low"
    )
    return PollenWarning(
        "unknown_bloom",
        "act" if all_of_them else "watch",
        1.0,
        f"In reach of {name} the bloom of {listed(unknown)} cannot be forecast, {effect}. Record bloom "
        "dates or visits there, or take over a fit that knows the cultivar.",
    )
