"""When to walk the rows of a vineyard, and what to look at."""

from __future__ import annotations

from collections.abc import Collection

from models.vineyard.scouting import EVERY_DAY, Plan, plan_trips, scouting_tasks, tasks_done
from service.usecases.forecasts import VineyardForecast


def plan_scouting(
    foreseen: VineyardForecast, *, weekdays: Collection[int] = EVERY_DAY, max_trips: int | None = None
) -> Plan:
    """The fewest trips from the forecast's day on that do all that visits have not done yet.

    Raises
    ------
    BadInput
        If no weekday (0 Monday to 6 Sunday) is given, or less than one trip is allowed.
    """
    as_of = foreseen.forecast.as_of
    known = foreseen.vineyard.known_on(as_of)
    tasks = scouting_tasks(known.planting, foreseen.forecast.draws)
    return plan_trips(
        tasks,
        first_day=as_of,
        weekdays=weekdays,
        max_trips=max_trips,
        done=tasks_done(tasks, known.visits, known.site().observations),
    )
