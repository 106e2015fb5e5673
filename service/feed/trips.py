"""Scouting trips in a grower's words, as entries of a calendar."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence

from models.vineyard.scouting import Plan, PlannedTask, Trip, alike
from service.usecases.calendar import Entry
from service.words.plain import from_to, listed, sentence
from service.words.scouting import TASK_NAMES, look_for, why_look, why_missed

MOST_BLOCKS_IN_TITLE = 4


def task_names(trip: Trip) -> list[str]:
    """The tasks of a trip as names that last."""
    return [f"{task.task}/{task.block}" for task in trip.tasks]


def trip_entries(plan: Plan, subjects: Mapping[dt.date, str], names: Mapping[str, str]) -> Iterator[Entry]:
    """One entry for each trip; ``subjects`` says what each is for, ``names`` are the blocks' names."""
    for trip in plan.trips:
        text = "\n\n".join(_task_text(tasks, names) for tasks in alike(trip.tasks))
        yield Entry(
            kind="trip",
            subject=subjects[trip.date],
            first_day=trip.date,
            last_day=trip.date,
            title=_title(trip),
            text=text,
        )


def missed_tasks(plan: Plan, names: Mapping[str, str]) -> list[str]:
    """What is said of the tasks that stand on no trip and can still be done."""
    return [
        f"On no trip: {TASK_NAMES[task.task]} in {names[task.block]}. {why_missed(task)}"
        for task in plan.missed
        if task.best_day is not None
    ]


def _title(trip: Trip) -> str:
    parts = []
    for kind in dict.fromkeys(task.task for task in trip.tasks):
        blocks = [task.block for task in trip.tasks if task.task == kind]
        where = ", ".join(blocks) if len(blocks) <= MOST_BLOCKS_IN_TITLE else f"{len(blocks)} blocks"
        parts.append(f"{TASK_NAMES[kind]} ({where})")
    return f"Walk the rows: {listed(parts)}"


def _task_text(tasks: Sequence[PlannedTask], names: Mapping[str, str]) -> str:
    first = tasks[0]
    lines = [
        sentence(TASK_NAMES[first.task]),
        *(
            f"- {names[task.block]}, good {from_to(task.window.first_day, task.window.last_day)}"
            for task in tasks
        ),
        f"Look for: {look_for(first.look)}",
        f"Why: {why_look(first.look)}",
    ]
    return "\n".join(lines)
