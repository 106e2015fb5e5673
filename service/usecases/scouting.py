"""When to walk the rows of a vineyard, and what to look at."""

from __future__ import annotations

from models.errors import BadInput, Problem
from models.vineyard.look_worth import narrowing
from models.vineyard.scouting import (
    WEEKDAY_NAMES,
    Plan,
    plan_trips,
    scouting_tasks,
    tasks_done,
    undated_tasks,
)
from service.usecases.forecasts import VineyardForecast

SHORTEST_NAME = 3  # letters
CHANCE = 0.5


def plan_scouting(
    foreseen: VineyardForecast,
    *,
    weekdays: str | None = None,
    max_trips: int | None = None,
    chance: float = CHANCE,
) -> Plan:
    """The fewest trips from the forecast's day on that do all that visits have not done yet.

    Parameters
    ----------
    foreseen : VineyardForecast
    weekdays : str, optional
        On which trips are possible, as in "tue,fri"; by default those of the vineyard.
    max_trips : int, optional
    chance : float
        That a trip's day is the right time for its tasks, above 0 and at most 1, as far as the forecast allows it.

    Raises
    ------
    BadInput
        If a weekday cannot be read, the chance is out of range, or less than one trip is allowed.
    """
    as_of = foreseen.forecast.as_of
    known = foreseen.vineyard.known_on(as_of)
    tasks = scouting_tasks(known.planting, foreseen.forecast.draws, chance=chance)
    on = known.scouting_weekdays if weekdays is None else read_weekdays(weekdays)
    done = tasks_done(tasks, known.site.visits, known.site.seen, known.counted_in(foreseen.forecast.season))
    looks = {
        (task.block, day)
        for task in tasks
        if (task.block, task.task) not in done
        for day in task.chance_on
        if day.weekday() in on
    }
    looks |= {(block.key, as_of) for block in known.planting.blocks}
    return plan_trips(
        tasks,
        first_day=as_of,
        weekdays=on,
        max_trips=max_trips,
        undated=undated_tasks(known.planting, foreseen.forecast.draws),
        done=done,
        narrows=narrowing(foreseen.forecast, looks),
    )


def read_weekdays(text: str) -> tuple[int, ...]:
    """Weekdays as they are typed, in full or by three letters or more, as numbers; 0 is Monday.

    Raises
    ------
    BadInput
        If there is none, or one that is no weekday.
    """
    found: set[int] = set()
    for word in text.split(","):
        name = word.strip().lower()
        days = [day for day, full in enumerate(WEEKDAY_NAMES) if full.lower().startswith(name)]
        if len(name) < SHORTEST_NAME or not days:
            problem = f"{word.strip()!r} is no weekday; write them as in tue,fri"
            raise BadInput("the weekdays cannot be read", [Problem("weekdays", problem)])
        found.update(days)
    return tuple(sorted(found))
