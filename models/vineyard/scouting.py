"""Which days to walk the rows: the fewest trips that meet every scouting task."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from models.errors import BadInput, Problem
from models.vineyard.scouting_tasks import (
    Task,
    TaskKind,
    Window,
    scouting_tasks,
    tasks_done,
)
from models.vineyard.trip_cover import fewest_days
from models.vineyard.wording import from_to, in_words, percent

__all__ = [
    "MissedTask",
    "Plan",
    "PlannedTask",
    "Task",
    "TaskKind",
    "Trip",
    "Window",
    "plan_trips",
    "scouting_tasks",
    "tasks_done",
]

WEEKDAY_NAMES = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
EVERY_DAY = range(7)
# For so long a plan says that a task is over. Our convention. [day]
TOLD_FOR = dt.timedelta(days=14)


@dataclass(frozen=True, kw_only=True)
class PlannedTask:
    """A task on a trip; ``chance`` is that of the trip's day being the right time for it."""

    block: str
    cultivar: str
    task: TaskKind
    look_for: str
    why: str
    window: Window
    chance: float


@dataclass(frozen=True)
class Trip:
    """One scouting day."""

    date: dt.date
    tasks: tuple[PlannedTask, ...]


@dataclass(frozen=True, kw_only=True)
class MissedTask:
    """A task that the plan does not meet, and why.

    ``best_day`` is the day to go after all: the likeliest one left, whatever its weekday; None where all are
    over, which is told for two weeks.
    """

    block: str
    cultivar: str
    task: TaskKind
    look_for: str
    window: Window
    reason: str
    best_day: dt.date | None


@dataclass(frozen=True)
class Plan:
    """Trips in order of date, and what they leave out."""

    trips: tuple[Trip, ...]
    missed: tuple[MissedTask, ...]


def plan_trips(
    tasks: Sequence[Task],
    *,
    first_day: dt.date,
    weekdays: Collection[int] = EVERY_DAY,
    max_trips: int | None = None,
    done: Collection[tuple[str, TaskKind]] = (),
) -> Plan:
    """The fewest trips that meet every task; among those plans the likeliest, then the earliest.

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
    chosen = _trip_days([allowed[place] for place in possible], max_trips)
    on_day: dict[dt.date, list[PlannedTask]] = {day: [] for day in chosen}
    missed: list[MissedTask] = []
    for task, days in zip(open_tasks, allowed, strict=True):
        met = [day for day in chosen if day in days]
        if met:
            day = max(met, key=lambda day: (days[day], -day.toordinal()))
            on_day[day].append(_planned(task, days[day]))
        else:
            missed.append(_missed(task, first_day, weekdays, possible=bool(days), max_trips=max_trips))
    trips = tuple(Trip(day, tuple(planned)) for day, planned in on_day.items())
    return Plan(trips, tuple(sorted(missed, key=lambda task: task.window.first_day)))


def _trip_days(allowed: Sequence[dict[dt.date, float]], max_trips: int | None) -> list[dt.date]:
    if not allowed:
        return []
    dates = sorted({day for days in allowed for day in days})
    chance = np.array([[days.get(day, 0.0) for day in dates] for days in allowed])
    numbers = np.array([day.toordinal() for day in dates], dtype=np.int64)
    taken = fewest_days(chance, numbers, most=max_trips)
    return [day for day, goes in zip(dates, taken, strict=True) if goes]


def _planned(task: Task, chance: float) -> PlannedTask:
    return PlannedTask(
        block=task.block,
        cultivar=task.cultivar,
        task=task.task,
        look_for=task.look_for,
        why=task.why,
        window=task.window,
        chance=chance,
    )


def _missed(
    task: Task, first_day: dt.date, weekdays: Collection[int], *, possible: bool, max_trips: int | None
) -> MissedTask:
    left = {day: chance for day, chance in task.chance_on.items() if day >= first_day}
    span = from_to(task.window.first_day, task.window.last_day)
    best = max(left, key=lambda day: (left[day], -day.toordinal()), default=None)
    if best is None:
        reason = f"Too late this season: its days are over ({span})."
    elif possible:
        trips = "1 trip leaves" if max_trips == 1 else f"{max_trips} trips leave"
        reason = f"{trips} no day for it; its best day is {_day_and_chance(best, left[best])}."
    else:
        names = " or ".join(WEEKDAY_NAMES[weekday] for weekday in sorted(set(weekdays)))
        reason = (
            f"The days left for it ({from_to(min(left), max(left))}) hold no {names}; its best day is "
            f"{_day_and_chance(best, left[best])}."
        )
    return MissedTask(
        block=task.block,
        cultivar=task.cultivar,
        task=task.task,
        look_for=task.look_for,
        window=task.window,
        reason=reason,
        best_day=best,
    )


def _day_and_chance(day: dt.date, chance: float) -> str:
    return (
        f"{WEEKDAY_NAMES[day.weekday()]} {in_words(day)} ({percent(chance)} chance that it is the right time)"
    )
