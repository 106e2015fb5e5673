"""Warnings about what stands in reach, whether its pollen counts, and what of it can be forecast."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from models.records import Block, Planting
from models.units import FloatArray
from models.vineyard.cover import NOTABLE_SHARE, Cover, Part, notable
from models.vineyard.pollen_warnings import (
    ACT,
    MOST,
    BloomNotForecast,
    BloomUnfinished,
    MainSource,
    NoneViable,
    NoSourceInReach,
    OnlySource,
    PollenWarning,
    SourcesFrosted,
    SourcesFrostedInPart,
    SourcesNotForecast,
    Span,
    VinesOutOfReach,
    Warned,
    WarningLevel,
    level_of,
)
from models.vineyard.reach import VineGroup, named


@dataclass(frozen=True)
class InReach:
    """The blocks in reach of one.

    Attributes
    ----------
    makers, viable, doubtful, known : tuple of Block
        Whose flowers make pollen; whose pollen is viable and counted on; whose pollen is viable but not counted on,
        as their shoots froze; which of the viable ones have a forecast.
    groups : tuple of VineGroup
        The block's vines by which of the viable ones they have in reach.
    """

    makers: tuple[Block, ...]
    viable: tuple[Block, ...]
    doubtful: tuple[Block, ...]
    known: tuple[Block, ...]
    groups: tuple[VineGroup, ...]

    @property
    def vines_out(self) -> int:
        """Vines without a viable block in reach."""
        return sum(group.vines for group in self.groups if not group.in_reach)

    @property
    def parts(self) -> list[Part]:
        """The groups as parts of the block, by which of ``known`` they have in reach."""
        vines = sum(group.vines for group in self.groups)
        return [
            Part(
                group.vines / vines,
                np.array([other in group.in_reach for other in self.known], dtype=np.bool_),
            )
            for group in self.groups
        ]


def bloom_warnings(
    planting: Planting,
    block: Block,
    near: InReach,
    unfinished: float,
    bloom: tuple[Span, ...],
    *,
    lacking: tuple[str, ...] = (),
) -> list[PollenWarning]:
    """What follows for the whole bloom from what can be forecast, and from there being one viable source.

    ``unfinished`` is the chance that the bloom does not end within the season, ``bloom`` its span where known;
    ``lacking`` are the bloom stages that the fit does not know.
    """
    warned: list[tuple[Warned, WarningLevel, float]] = []
    level = level_of(unfinished)
    if level is not None:
        of = BloomUnfinished() if unfinished < 1.0 else BloomNotForecast(lacking)
        warned.append((of, level, unfinished))
    unknown = tuple(named(planting, other) for other in near.viable if other not in near.known)
    if unknown and "bloom_start" not in lacking:
        warned.append((SourcesNotForecast(unknown, not near.known), "watch" if near.known else "act", 1.0))
    if near.viable and near.doubtful:
        frosted = tuple(named(planting, other) for other in near.doubtful)
        warned.append((SourcesFrosted(frosted), "watch", 1.0))
    if len(near.viable) == 1:
        warned.append((OnlySource(named(planting, near.viable[0])), "watch", 1.0))
    name = named(planting, block)
    return [PollenWarning(name, of, level, chance, bloom) for of, level, chance in warned]


def reach_warnings(
    planting: Planting, block: Block, near: InReach, lacking: tuple[Span, ...]
) -> list[PollenWarning]:
    """That nothing in reach sheds pollen that counts; ``lacking`` are the days without."""
    of: Warned
    level: WarningLevel = "act"
    if near.viable:
        if not near.vines_out:
            return []
        of = VinesOutOfReach(near.vines_out, block.vines, planting.reach_m)
        level = "act" if near.vines_out >= NOTABLE_SHARE * block.vines else "watch"
    elif near.makers:
        of = NoneViable(
            tuple(named(planting, other) for other in near.makers if other not in near.doubtful),
            tuple(named(planting, other) for other in near.doubtful),
        )
    else:
        of = NoSourceInReach(planting.reach_m, block.neighbours is not None)
    return [PollenWarning(named(planting, block), of, level, 1.0, lacking)]


def frosted_in_part_warnings(
    planting: Planting,
    block: Block,
    shares_left: Mapping[str, float],
    failed: FloatArray,
    runs: tuple[Span, ...],
) -> list[PollenWarning]:
    """That sources in reach froze in part.

    ``shares_left`` are the shares of the draws in which each is counted on; ``failed``, shape (draw,), the share of the
    bloom for which none is, and ``runs`` the days without pollen that come of it.
    """
    if not shares_left:
        return []
    level = level_of(float(notable(failed).mean())) or "watch"
    sources = tuple(named(planting, other) for other in planting.blocks if other.key in shares_left)
    of = SourcesFrostedInPart(sources, tuple(shares_left[source.key] for source in sources))
    return [PollenWarning(named(planting, block), of, level, 1.0 - min(shares_left.values()), runs)]


def main_source_warnings(
    planting: Planting, block: Block, near: InReach, found: Cover, bloom: tuple[Span, ...]
) -> list[PollenWarning]:
    """Whether most of the cover comes from the source that would be missed most."""
    if not len(near.viable) == len(near.known) > 1:
        return []
    most_missed = int(np.median(found.lost_without, axis=-1).argmax())
    lost: FloatArray = found.lost_without[most_missed]
    chance = float(np.mean((lost > 0) & (lost >= MOST * found.covered)))
    if chance < ACT:
        return []
    of = MainSource(named(planting, near.known[most_missed]), float(np.median(lost)))
    return [PollenWarning(named(planting, block), of, "watch", chance, bloom)]
