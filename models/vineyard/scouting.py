"""Which days to walk the rows: the fewest trips that meet every scouting task."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from models.errors import BadInput, Problem
from models.vineyard.scouting_tasks import (
    Look,
    Task,
    TaskKind,
    Undated,
    Window,
    scouting_tasks,
    tasks_done,
    undated_tasks,
)
from models.vineyard.trip_cover import fewest_days

__all__ = [
    "BestLook",
    "Look",
    "Missed",
    "MissedTask",
    "NoDate",
    "Plan",
    "PlannedTask",
    "Task",
    "TaskKind",
    "TooFewTrips",
    "TooLate",
    "Trip",
    "Undated",
    "Window",
    "WrongWeekdays",
    "alike",
    "plan_trips",
    "scouting_tasks",
    "tasks_done",
    "undated_tasks",
]

WEEKDAY_NAMES = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
EVERY_DAY = range(7)
# For so long a plan says that a task is over. Our convention. [day]
TOLD_FOR = dt.timedelta(days=14)
# A look that narrows windows by less is not worth a word. Ours. [day]
LEAST_TOLD_DAYS = 0.05


@dataclass(frozen=True)
class PlannedTask:
    """A task on a trip; ``chance`` is that of the trip's day being the right time for it.

    ``narrows_days`` is by how much the look is expected to narrow the vineyard's bloom windows. [day]
    """

    block: str
    cultivar: str
    look: Look
    window: Window
    chance: float
    narrows_days: float = 0.0

    @property
    def task(self) -> TaskKind:
        """Which kind of look it is."""
        return self.look.kind


@dataclass(frozen=True)
class BestLook:
    """The block where a look on the plan's first day teaches most, and what. [day]"""

    block: str
    narrows_days: float


@dataclass(frozen=True)
class Trip:
    """One scouting day."""

    date: dt.date
    tasks: tuple[PlannedTask, ...]


@dataclass(frozen=True)
class TooLate:
    """All its days are over."""


@dataclass(frozen=True)
class TooFewTrips:
    """The trips that are allowed go to other tasks."""

    max_trips: int


@dataclass(frozen=True)
class WrongWeekdays:
    """From ``first_day`` to ``last_day``, the days left for it, none is a weekday of trips (0 is Monday)."""

    first_day: dt.date
    last_day: dt.date
    weekdays: tuple[int, ...]


@dataclass(frozen=True)
class NoDate:
    """Its days rest on bloom stages that the fit lacks."""

    lacking: tuple[str, ...]


Missed = TooLate | TooFewTrips | WrongWeekdays | NoDate


@dataclass(frozen=True, kw_only=True)
class MissedTask:
    """A task that the plan does not meet, and why.

    ``best_day`` is the day to go after all, with its chance of being the right time: the likeliest one left,
    whatever its weekday; None where all are over, which is told for two weeks. ``window`` and ``best_day`` are None
    where its days are not known.
    """

    block: str
    cultivar: str
    look: Look
    window: Window | None
    missed: Missed
    best_day: dt.date | None = None
    best_chance: float | None = None

    @property
    def task(self) -> TaskKind:
        """Which kind of look it is."""
        return self.look.kind


@dataclass(frozen=True)
class Plan:
    """Trips in order of date, and what they leave out; ``best_look`` None where a look now teaches next to nothing."""

    trips: tuple[Trip, ...]
    missed: tuple[MissedTask, ...]
    best_look: BestLook | None = None


def plan_trips(
    tasks: Sequence[Task],
    *,
    first_day: dt.date,
    weekdays: Collection[int] = EVERY_DAY,
    max_trips: int | None = None,
    done: Collection[tuple[str, TaskKind]] = (),
    undated: Sequence[Undated] = (),
    narrows: Mapping[tuple[str, dt.date], float] | None = None,
) -> Plan:
    """The fewest trips that meet every task; of those plans the likeliest, then the most telling, then the earliest.

    Parameters
    ----------
    tasks : sequence of Task
    first_day : date
        No trip before this day.
    weekdays : collection of int
        On which trips are possible: 0 is Monday, 6 Sunday.
    max_trips : int, optional
        At most so many; if too few for every task, those are met whose chances add up to most.
    done : collection of (block, task)
        Tasks that need no trip any more.
    undated : sequence of Undated
        Looks that no trip can be planned for; told as missed.
    narrows : mapping of (block, day) to float, optional
        What a look teaches (`narrowing`). It orders plans of equal trips and chances; no task is done or left for it.

    Returns
    -------
    Plan
        The same for the same input.

    Raises
    ------
    BadInput
        If no weekday is given, one is none of 0 to 6, or ``max_trips`` is below 1.
    """
    if not weekdays or not set(weekdays) <= set(EVERY_DAY):
        raise BadInput(
            "trips need weekdays", [Problem("weekdays", "give at least one of 0 (Monday) to 6 (Sunday)")]
        )
    if max_trips is not None and max_trips < 1:
        raise BadInput("a plan needs a trip", [Problem("max_trips", f"{max_trips} is below 1")])
    open_tasks = [
        task
        for task in tasks
        if (task.block, task.task) not in done and task.window.last_day + TOLD_FOR >= first_day
    ]
    allowed = [
        {
            day: chance
            for day, chance in task.chance_on.items()
            if day >= first_day and day.weekday() in weekdays
        }
        for task in open_tasks
    ]
    possible = [place for place, days in enumerate(allowed) if days]
    teaches = {} if narrows is None else narrows
    chosen = _trip_days(
        [allowed[place] for place in possible],
        [open_tasks[place].block for place in possible],
        teaches,
        max_trips,
    )
    on_day: dict[dt.date, list[PlannedTask]] = {day: [] for day in chosen}
    missed: list[MissedTask] = []
    for task, days in zip(open_tasks, allowed, strict=True):
        met = [day for day in chosen if day in days]
        if met:
            told = {day: teaches.get((task.block, day), 0.0) for day in met}
            day = max(met, key=lambda day: (days[day], told[day], -day.toordinal()))
            on_day[day].append(_planned(task, days[day], told[day]))
        else:
            missed.append(_missed(task, first_day, weekdays, max_trips=max_trips if days else None))
    trips = tuple(Trip(day, tuple(planned)) for day, planned in on_day.items())
    undatable = [
        MissedTask(
            block=task.block,
            cultivar=task.cultivar,
            look=task.look,
            window=None,
            missed=NoDate(task.lacking),
        )
        for task in undated
    ]
    return Plan(trips, (*sorted(missed, key=_first_day), *undatable), _best_look(teaches, first_day))


def _best_look(teaches: Mapping[tuple[str, dt.date], float], day: dt.date) -> BestLook | None:
    told = {block: gain for (block, on), gain in teaches.items() if on == day and gain >= LEAST_TOLD_DAYS}
    best = max(told, key=lambda block: told[block], default=None)
    return None if best is None else BestLook(best, told[best])


def _first_day(task: MissedTask) -> dt.date:
    assert task.window is not None
    return task.window.first_day


def alike(tasks: Sequence[PlannedTask]) -> list[list[PlannedTask]]:
    """Tasks, those together that look for the same."""
    groups: dict[Look, list[PlannedTask]] = {}
    for task in tasks:
        groups.setdefault(task.look, []).append(task)
    return list(groups.values())


def _trip_days(
    allowed: Sequence[dict[dt.date, float]],
    blocks: Sequence[str],
    teaches: Mapping[tuple[str, dt.date], float],
    max_trips: int | None,
) -> list[dt.date]:
    if not allowed:
        return []
    dates = sorted({day for days in allowed for day in days})
    chance = np.array([[days.get(day, 0.0) for day in dates] for days in allowed])
    numbers = np.array([day.toordinal() for day in dates], dtype=np.int64)
    taught = np.array([[teaches.get((block, day), 0.0) for day in dates] for block in blocks])
    taken = fewest_days(chance, numbers, most=max_trips, taught=taught)
    return [day for day, goes in zip(dates, taken, strict=True) if goes]


def _planned(task: Task, chance: float, narrows_days: float) -> PlannedTask:
    return PlannedTask(task.block, task.cultivar, task.look, task.window, chance, narrows_days)


def _missed(
    task: Task, first_day: dt.date, weekdays: Collection[int], *, max_trips: int | None
) -> MissedTask:
    """``max_trips`` is None where no day left is a weekday of trips: without a limit, no other task is missed."""
    left = {day: chance for day, chance in task.chance_on.items() if day >= first_day}
    best = max(left, key=lambda day: (left[day], -day.toordinal()), default=None)
    missed: Missed
    if best is None:
        missed = TooLate()
    elif max_trips is not None:
        missed = TooFewTrips(max_trips)
    else:
        missed = WrongWeekdays(min(left), max(left), tuple(sorted(set(weekdays))))
    return MissedTask(
        block=task.block,
        cultivar=task.cultivar,
        look=task.look,
        window=task.window,
        missed=missed,
        best_day=best,
        best_chance=None if best is None else left[best],
    )
