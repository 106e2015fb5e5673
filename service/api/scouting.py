"""When to walk the rows."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Self

from fastapi import Query
from pydantic import Field

from models.vineyard.scouting import MissedTask, PlannedTask, TaskKind
from service.api.part import part
from service.api.responses import UNCHANGED, problems
from service.api.schemas import Body, ThreeDigits, TwoDigits
from service.api.season_query import LookedAhead
from service.usecases.cautions import cautions_of
from service.usecases.scouting import CHANCE, plan_scouting
from service.web.kept import KEPT
from service.web.turns import HEAVY
from service.words.cautions import caution_texts
from service.words.scouting import look_for, why_look, why_missed

router = part("/v1/vineyards/{vineyard}", "forecasts", KEPT, HEAVY)


class WindowAnswer(Body):
    """Days, both ends included."""

    first: dt.date = Field(validation_alias="first_day", serialization_alias="from")
    last: dt.date = Field(validation_alias="last_day", serialization_alias="to")


class TaskAnswer(Body):
    """One look at one block: what to look for, why, and the chance that the trip's day is right for it.

    ``narrows_days`` is by how many days it is expected to narrow the vineyard's bloom windows (from low to high), on
    average over blocks and stages; it orders plans of equal trips and chances.
    """

    block: str
    cultivar: str
    task: TaskKind
    look_for: str
    why: str
    window: WindowAnswer
    chance: ThreeDigits
    narrows_days: TwoDigits

    @classmethod
    def of(cls, task: PlannedTask) -> Self:
        """A task for the client."""
        return cls.showing(task, look_for=look_for(task.look), why=why_look(task.look))


class TripAnswer(Body):
    """One scouting day."""

    date: dt.date
    tasks: list[TaskAnswer]


class MissedAnswer(Body):
    """A task that is on no trip, and why; ``best_day`` is null where it is too late (which is told for two weeks).

    ``window`` is null too where the fit lacks the stages that its days rest on.
    """

    block: str
    cultivar: str
    task: TaskKind
    look_for: str
    window: WindowAnswer | None
    reason: str
    best_day: dt.date | None

    @classmethod
    def of(cls, task: MissedTask) -> Self:
        """A task for the client."""
        return cls.showing(task, look_for=look_for(task.look), reason=why_missed(task))


class BestLookAnswer(Body):
    """Where a look on the day of the plan teaches most; ``narrows_days`` as of the tasks."""

    block: str
    narrows_days: TwoDigits


class ScoutingAnswer(Body):
    """The fewest trips that do every task, and what they leave out; `best_look_now` is null where none teaches much."""

    vineyard: str
    season: int
    as_of: dt.date
    fit: str
    best_look_now: BestLookAnswer | None
    trips: list[TripAnswer]
    missed: list[MissedAnswer]
    cautions: list[str]


@router.get(
    "/scouting",
    summary="Plan the scouting trips",
    responses=UNCHANGED | problems(404, 409),
)
def get_scouting(
    foreseen: LookedAhead,
    weekdays: Annotated[
        str | None,
        Query(
            max_length=100,
            description="On which days trips are possible, as in `tue,fri`; by default the vineyard's "
            "`scouting_weekdays`.",
        ),
    ] = None,
    max_trips: Annotated[int | None, Query(ge=1, le=366, description="At most so many trips.")] = None,
    chance: Annotated[
        float,
        Query(
            gt=0,
            le=1,
            description="That a trip's day is the right time for its tasks. Where the forecast is not that sure yet, "
            "days near the task's best one count.",
        ),
    ] = CHANCE,
) -> ScoutingAnswer:
    """The fewest days to walk the rows on which everything that is still to be looked at can be seen, and what
    to look for. A visit that is recorded does its tasks, and changes the plan.
    """
    plan = plan_scouting(foreseen, weekdays=weekdays, max_trips=max_trips, chance=chance)
    return ScoutingAnswer.showing(
        plan,
        foreseen.forecast,
        vineyard=foreseen.vineyard.key,
        fit=foreseen.fit.id,
        best_look_now=None if plan.best_look is None else BestLookAnswer.showing(plan.best_look),
        trips=[
            TripAnswer(date=trip.date, tasks=[TaskAnswer.of(task) for task in trip.tasks])
            for trip in plan.trips
        ],
        missed=[MissedAnswer.of(task) for task in plan.missed],
        cautions=caution_texts(cautions_of(foreseen)),
    )
