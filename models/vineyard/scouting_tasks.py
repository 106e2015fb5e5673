"""What has to be looked at in each block, and on which days that can be done.

Which looks a season needs is common practice, no source. The days before and after a stage are our
conventions: wide enough for a weekly walk, narrow enough that the thing to see is still there.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Literal

import numpy as np

from models.errors import BadInput, Problem
from models.records import Block, CropCount, FlowerType, Planting, StageInterval, Visit
from models.records import SetCount as SetCounted
from models.stages import BLOOM_STAGES
from models.units import FloatArray
from models.vineyard.reach import (
    NamedBlock,
    cultivar_of,
    named,
    pollen_makers_in_reach,
    sheds_viable_pollen,
)
from models.vineyard.season_days import SeasonDays

if TYPE_CHECKING:
    import xarray as xr

TaskKind = Literal[
    "flower_count", "first_caps", "flower_type", "pollen_overlap", "set_count", "crop_load", "ripeness"
]

# A chance that the forecast cannot reach yet is asked for no further than this share of a task's best day:
# so a plan stands early in the season too, and tightens as the forecast does. Our convention.
NEAR_BEST = 0.9
# A block that blooms this season in fewer draws has no tasks, as its stages are called unlikely.
LIKELY = 0.5
FIRST_FLOWERS_BBCH = 60


@dataclass(frozen=True)
class Window:
    """First and last day on which a task can be done."""

    first_day: dt.date
    last_day: dt.date


@dataclass(frozen=True)
class FlowerCount:
    """How many flowers marked clusters have, without which a count of berries says nothing of set."""

    kind: ClassVar[TaskKind] = "flower_count"


@dataclass(frozen=True)
class FirstCaps:
    """Whether the first caps have fallen."""

    kind: ClassVar[TaskKind] = "first_caps"


@dataclass(frozen=True)
class FlowerTypeCheck:
    """Whether flowers are of the type that is recorded."""

    kind: ClassVar[TaskKind] = "flower_type"
    recorded: FlowerType


@dataclass(frozen=True)
class PollenOverlap:
    """Whether sources in reach shed pollen while the block blooms."""

    kind: ClassVar[TaskKind] = "pollen_overlap"
    sources: tuple[NamedBlock, ...]


@dataclass(frozen=True)
class SetCount:
    """How many of the flowers counted before have set."""

    kind: ClassVar[TaskKind] = "set_count"


@dataclass(frozen=True)
class CropLoad:
    """How many clusters hang on a cane; what is too many, sources say by cultivar, and that research is lacking.

    ``berry_mass_g``, where known, of a self-fertile cultivar: those that set much and have large berries come first.
    """

    kind: ClassVar[TaskKind] = "crop_load"
    self_fertile: bool = False
    berry_mass_g: float | None = None


@dataclass(frozen=True)
class Ripeness:
    """How ripe berries are, before a harvest that is forecast."""

    kind: ClassVar[TaskKind] = "ripeness"


Look = FlowerCount | FirstCaps | FlowerTypeCheck | PollenOverlap | SetCount | CropLoad | Ripeness


@dataclass(frozen=True)
class Task:
    """One look at one block.

    Attributes
    ----------
    look : Look
        What for.
    window : Window
    chance_on : dict of date to float
        The days of the window that are good enough, each with its chance of being the right time.
    """

    block: str
    cultivar: str
    look: Look
    window: Window
    chance_on: dict[dt.date, float]

    @property
    def task(self) -> TaskKind:
        """Which kind of look it is."""
        return self.look.kind


@dataclass(frozen=True)
class Undated:
    """One look at one block whose days rest on bloom stages that are not forecast, as the fit lacks them."""

    block: str
    cultivar: str
    look: Look
    lacking: tuple[str, ...]


Days = tuple[FloatArray, FloatArray]


def flower_count_days(start: FloatArray, full: FloatArray, end: FloatArray) -> Days:  # noqa: ARG001
    """The week up to bloom start, while clusters are whole. [day]"""
    return start - 7, start


def first_caps_days(start: FloatArray, full: FloatArray, end: FloatArray) -> Days:  # noqa: ARG001
    """From two days before bloom start (10 % of caps off) to two days after. [day]"""
    return start - 2, start + 2


def flower_type_days(start: FloatArray, full: FloatArray, end: FloatArray) -> Days:
    """From bloom start until halfway from full bloom to its end, while anthers are fresh. [day]"""
    return start, np.floor((full + end) / 2)


def pollen_overlap_days(start: FloatArray, full: FloatArray, end: FloatArray) -> Days:
    """From halfway between start and full bloom until halfway between full bloom and end. [day]"""
    return np.ceil((start + full) / 2), np.floor((full + end) / 2)


def set_count_days(start: FloatArray, full: FloatArray, end: FloatArray) -> Days:  # noqa: ARG001
    """From one to three weeks after bloom end, when flowers that did not set have dropped. [day]"""
    return end + 7, end + 21


def crop_load_days(start: FloatArray, full: FloatArray, end: FloatArray) -> Days:  # noqa: ARG001
    """From two to five weeks after bloom end: set can be counted, and thinning still helps. [day]"""
    return end + 14, end + 35


def ripeness_days(harvest: FloatArray) -> Days:
    """The ten days up to harvest. [day]"""
    return harvest - 10, harvest


_DAYS_OF: dict[TaskKind, Callable[[FloatArray, FloatArray, FloatArray], Days]] = {
    "flower_count": flower_count_days,
    "first_caps": first_caps_days,
    "flower_type": flower_type_days,
    "pollen_overlap": pollen_overlap_days,
    "set_count": set_count_days,
    "crop_load": crop_load_days,
}
"""Of the looks whose days rest on bloom."""


# Without the end of bloom the looks that may go on after full bloom end there: in time, whenever the end comes.
_NEEDED: dict[TaskKind, tuple[str, ...]] = {
    "flower_count": ("bloom_start",),
    "first_caps": ("bloom_start",),
    "flower_type": ("bloom_start", "full_bloom"),
    "pollen_overlap": ("bloom_start", "full_bloom"),
    "set_count": ("bloom_end",),
    "crop_load": ("bloom_end",),
}


def undated_tasks(planting: Planting, draws: xr.Dataset) -> tuple[Undated, ...]:
    """What calls for a look in each block and has no days, as the draws lack a stage; in the planting's order."""
    known = set(draws["stage"].values.tolist())
    return tuple(
        Undated(block.key, block.cultivar, look, lacking)
        for block in planting.blocks
        for look in _looks(planting, block)
        if (lacking := tuple(stage for stage in _NEEDED[look.kind] if stage not in known))
    )


def scouting_tasks(planting: Planting, draws: xr.Dataset, *, chance: float = 0.5) -> tuple[Task, ...]:
    """The season's tasks in every block whose bloom can be forecast.

    Parameters
    ----------
    planting : Planting
    draws : Dataset
        ``day(draw, block, stage)``: whole days since ``attrs["season_start"]`` (ISO date), NaN where the
        season ends first or the block has no forecast. [day]
    chance : float
        Share of the draws in which a day must be the right time, above 0 and at most 1. A task whose best day
        has less takes the days that come within ``NEAR_BEST`` of it.

    Returns
    -------
    tuple of Task
        In the planting's order, each block's in the season's; also those whose days are over.

    Raises
    ------
    BadInput
        If the chance is out of range or a block's cultivar is unknown.
    """
    if not 0 < chance <= 1:
        raise BadInput("a chance lies above 0 and is at most 1", [Problem("chance", f"{chance:g} does not")])
    season = SeasonDays(dt.date.fromisoformat(draws.attrs["season_start"]))
    keys = [block.key for block in planting.blocks]
    bloom = draws["day"].reindex(block=keys, stage=list(BLOOM_STAGES)).transpose("block", "stage", "draw")
    ripe = (
        draws["day"].reindex(block=keys, stage=["harvest"]).transpose("block", "stage", "draw").values[:, 0]
    )
    has_end = "bloom_end" in draws["stage"].values
    tasks: list[Task] = []
    for block, stages, harvest in zip(planting.blocks, bloom.values, ripe, strict=True):
        start, full, end = stages
        for look in _looks(planting, block):
            if not has_end and "bloom_end" not in _NEEDED[look.kind]:
                end = full
            first, last = _DAYS_OF[look.kind](start, full, end)
            chance_on = good_days(first, last, season, chance=chance)
            if chance_on:
                window = Window(min(chance_on), max(chance_on))
                tasks.append(Task(block.key, block.cultivar, look, window, chance_on))
        fruits = cultivar_of(planting, block).flower_type is not FlowerType.STAMINATE
        before_harvest = good_days(*ripeness_days(harvest), season, chance=chance) if fruits else {}
        if before_harvest:
            window = Window(min(before_harvest), max(before_harvest))
            tasks.append(Task(block.key, block.cultivar, Ripeness(), window, before_harvest))
    return tuple(tasks)


def good_days(
    first: FloatArray, last: FloatArray, season: SeasonDays, *, chance: float
) -> dict[dt.date, float]:
    """Days that lie between ``first`` and ``last`` in enough of the draws, and their share of all draws.

    Parameters
    ----------
    first, last : ndarray, shape (draw,)
        NaN where the season ends first. [day]
    """
    known = np.isfinite(first) & np.isfinite(last)
    if not known.size or known.mean() < LIKELY:
        return {}
    days = np.arange(first[known].min(), last[known].max() + 1)
    spans = known & (first <= last)
    begun = np.searchsorted(np.sort(first[spans]), days, side="right")
    over = np.searchsorted(np.sort(last[spans]), days, side="left")
    share = (begun - over) / known.size
    needed = min(chance, NEAR_BEST * float(share.max()))
    good = np.flatnonzero((share >= needed) & (share > 0))
    return {season.date(days[place]): float(share[place]) for place in good}


def tasks_done(
    tasks: Sequence[Task],
    visits: Sequence[Visit],
    observations: Sequence[StageInterval] = (),
    counted: Collection[tuple[str, TaskKind]] = (),
) -> frozenset[tuple[str, TaskKind]]:
    """Block and task of those that somebody did: looked at the block on one of the task's good days.

    ``counted`` are those whose very counts came this season, on whatever day.

    A visit that found no flower open yet (0 % of caps off, or a code below BBCH 60) does no task but a count of
    flowers; where it moves the forecast, the task's days move on with it. A look at a whole cultivar is one at each
    block of it.
    """
    looks = [(visit.date, visit.block, visit.cultivar, _found_flowers(visit)) for visit in visits]
    looks += [
        (seen.by, seen.block, seen.cultivar, True)
        for seen in observations
        if seen.by is not None and seen.stage != "budbreak"
    ]
    return frozenset(
        (task.block, task.task)
        for task in tasks
        for day, block, cultivar, flowers in looks
        if day in task.chance_on
        and (flowers or task.task == "flower_count")
        and (block == task.block or (block is None and cultivar == task.cultivar))
    ) | frozenset(counted)


def counts_made(
    set_counts: Iterable[SetCounted], crop_counts: Iterable[CropCount]
) -> frozenset[tuple[str, TaskKind]]:
    """Block and task of what was counted: flowers, berries, clusters on canes."""
    found: set[tuple[str, TaskKind]] = {(count.block, "crop_load") for count in crop_counts}
    for count in set_counts:
        if count.flowers is not None:
            found.add((count.block, "flower_count"))
        if count.berries is not None:
            found.add((count.block, "set_count"))
    return frozenset(found)


def _found_flowers(visit: Visit) -> bool:
    return (visit.percent_open or 0) > 0 or (visit.bbch or 0) >= FIRST_FLOWERS_BBCH


def _looks(planting: Planting, block: Block) -> Iterator[Look]:
    """The looks that a block calls for, in the season's order."""
    cultivar = cultivar_of(planting, block)
    fruits = cultivar.flower_type is not FlowerType.STAMINATE
    if fruits:
        yield FlowerCount()
    yield FirstCaps()
    yield FlowerTypeCheck(cultivar.flower_type)
    if cultivar.flower_type is FlowerType.PISTILLATE:
        sources = tuple(
            named(planting, other)
            for other in pollen_makers_in_reach(planting, block)
            if sheds_viable_pollen(cultivar_of(planting, other))
        )
        if sources:
            yield PollenOverlap(sources)
    if fruits:
        yield SetCount()
        yield CropLoad(cultivar.flower_type is FlowerType.PERFECT, cultivar.berry_mass_g)
