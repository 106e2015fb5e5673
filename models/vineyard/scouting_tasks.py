"""What has to be looked at in each block, on which days that can be done, and what the look is for.

What to look for and why is common practice, no source. The days before and after a stage are our
conventions: wide enough for a weekly walk, narrow enough that the thing to see is still there.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import xarray as xr

from models.errors import BadInput, Problem
from models.records import Block, Cultivar, FlowerType, Planting, StageInterval, Visit
from models.stages import BLOOM_STAGES
from models.units import FloatArray
from models.vineyard.reach import cultivar_of, pollen_makers_in_reach, sheds_viable_pollen
from models.vineyard.season_days import SeasonDays
from models.vineyard.wording import block_name, listed

TaskKind = Literal["first_caps", "flower_type", "pollen_overlap", "set_count", "crop_load"]

# A chance that the forecast cannot reach yet is asked for no further than this share of a task's best day:
# so a plan stands early in the season too, and tightens as the forecast does. Our convention.
NEAR_BEST = 0.9
# A block that blooms this season in fewer draws has no tasks, as its stages are called unlikely.
LIKELY = 0.5
# Berry mass from which the crop of a self-fertile cultivar is looked at, and from which it is usually
# thinned. Common practice, no source: 6 to 7 g carried their crop, 10 to 11 g need watching, 14 to 15 g
# usually thinning. [g]
WATCHED_FROM_G = 10.0
THINNED_FROM_G = 14.0
FIRST_FLOWERS_BBCH = 60
MOST_SOURCES_NAMED = 4


@dataclass(frozen=True)
class Window:
    """First and last day on which a task can be done."""

    first_day: dt.date
    last_day: dt.date


@dataclass(frozen=True, kw_only=True)
class Task:
    """One look at one block.

    Attributes
    ----------
    window : Window
    chance_on : dict of date to float
        The days of the window that are good enough, each with its chance of being the right time.
    """

    block: str
    cultivar: str
    task: TaskKind
    look_for: str
    why: str
    window: Window
    chance_on: dict[dt.date, float]


Days = tuple[FloatArray, FloatArray]


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


_DAYS_OF: dict[TaskKind, Callable[[FloatArray, FloatArray, FloatArray], Days]] = {
    "first_caps": first_caps_days,
    "flower_type": flower_type_days,
    "pollen_overlap": pollen_overlap_days,
    "set_count": set_count_days,
    "crop_load": crop_load_days,
}


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
    tasks: list[Task] = []
    for block, stages in zip(planting.blocks, bloom.values, strict=True):
        for kind, look_for, why in _looks(planting, block):
            first, last = _DAYS_OF[kind](*stages)
            chance_on = good_days(first, last, season, chance=chance)
            if chance_on:
                window = Window(min(chance_on), max(chance_on))
                tasks.append(
                    Task(
                        block=block.key,
                        cultivar=block.cultivar,
                        task=kind,
                        look_for=look_for,
                        why=why,
                        window=window,
                        chance_on=chance_on,
                    )
                )
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
    share = ((days >= first[:, np.newaxis]) & (days <= last[:, np.newaxis])).mean(axis=0)
    needed = min(chance, NEAR_BEST * float(share.max()))
    good = np.flatnonzero((share >= needed) & (share > 0))
    return {season.date(days[place]): float(share[place]) for place in good}


def tasks_done(
    tasks: Sequence[Task], visits: Sequence[Visit], observations: Sequence[StageInterval] = ()
) -> frozenset[tuple[str, TaskKind]]:
    """Block and task of those that somebody did: looked at the block on one of the task's good days.

    A visit that found no flower open yet (0 % of caps off, or a code below BBCH 60) does no task; where it
    moves the forecast, the task's days move on with it. A look at a whole cultivar is one at each block of it.
    """
    looks = [(visit.date, visit.block, visit.cultivar) for visit in visits if _found_flowers(visit)]
    looks += [
        (seen.by, seen.block, seen.cultivar)
        for seen in observations
        if seen.by is not None and seen.stage != "budbreak"
    ]
    return frozenset(
        (task.block, task.task)
        for task in tasks
        for day, block, cultivar in looks
        if day in task.chance_on and (block == task.block or (block is None and cultivar == task.cultivar))
    )


def _found_flowers(visit: Visit) -> bool:
    return (visit.percent_open or 0) > 0 or (visit.bbch or 0) >= FIRST_FLOWERS_BBCH


def _looks(planting: Planting, block: Block) -> Iterator[tuple[TaskKind, str, str]]:
    """Task, what to look for, and why, for each task that the block calls for."""
    cultivar = cultivar_of(planting, block)
    yield (
        "first_caps",
        "The first fallen caps: look from the second to the fifth node of the current shoots; the oldest "
        "flowers are at the shoot's base. Note how many per cent of the caps are off.",
        "It dates the start of bloom, and sharpens the forecast of every block.",
    )
    yield (
        "flower_type",
        "Open flowers with fresh anthers: long upright stamens with yellow pollen are self-fertile or male, "
        "short bent-back ones are pistillate.",
        f"It checks that the vines are {_kind_of(cultivar)}, as recorded. In late bloom it cannot be told: "
        "once its anthers have fallen, a self-fertile flower looks pistillate.",
    )
    sources = [
        block_name(other, cultivar_of(planting, other))
        for other in pollen_makers_in_reach(planting, block)
        if sheds_viable_pollen(cultivar_of(planting, other))
    ]
    if cultivar.flower_type is FlowerType.PISTILLATE and sources:
        more = len(sources) - MOST_SOURCES_NAMED
        named = sources[:MOST_SOURCES_NAMED] + ([f"{more} more"] if more > 0 else [])
        yield (
            "pollen_overlap",
            f"At this block's mid bloom, fresh anthers with pollen in {listed(named)}, and insects that go "
            "from there to here.",
            "The block's flowers are pistillate: without pollen from there, they do not set.",
        )
    if cultivar.flower_type is not FlowerType.STAMINATE:
        yield (
            "set_count",
            "Set berries among the flowers of a few marked clusters: a berry carries a brown speck where the "
            "stigma was; a closed bud is smooth and green.",
            "It tells whether the pollen was enough, while the season's dates are fresh in mind.",
        )
    if (look_for := _crop_load(cultivar)) is not None:
        yield (
            "crop_load",
            look_for,
            "A self-fertile cultivar with heavy berries can set more than the vine ripens, and be weak next year.",
        )


def _crop_load(cultivar: Cultivar) -> str | None:
    mass_g = cultivar.berry_mass_g
    if cultivar.flower_type is not FlowerType.PERFECT or mass_g is None or mass_g < WATCHED_FROM_G:
        return None
    if mass_g < THINNED_FROM_G:
        return f"Berries for each shoot: at about {mass_g:g} g a berry the crop needs watching."
    return (
        f"Berries for each shoot: at about {mass_g:g} g a berry the crop usually needs thinning, or fewer spurs "
        "next winter."
    )


def _kind_of(cultivar: Cultivar) -> str:
    return "self-fertile" if cultivar.flower_type is FlowerType.PERFECT else str(cultivar.flower_type)
