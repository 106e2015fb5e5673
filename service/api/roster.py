"""All vineyards that a key may see."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal, Self

from fastapi import Query, Request, Response
from pydantic import Field

from models.vineyard.pollen_warnings import WarningCode, WarningLevel
from service.api.listing import AS_CSV, PageAsked, csv_answer, paged
from service.api.part import part
from service.api.responses import problems, wants_csv
from service.api.schemas import Body, ThreeDigits
from service.usecases.documents import Slug
from service.usecases.roster import RosterRow, SortedBy, order, roster
from service.web.access import Asked
from service.web.days import IsoDate
from service.web.records import store
from service.words.errors import Reader
from service.words.pollen_warnings import warning_words
from service.words.roster import why_none_words

router = part("/v1/roster", "keys")

LONGEST_SECONDS = 20.0  # that a request computes: proxies give up after 30 to 60


class RosterBloom(Body):
    """From the first block's start of bloom to the last one's end, by medians."""

    state: Literal["before", "in_bloom", "over", "unknown"]
    starts: dt.date | None
    ends: dt.date | None


class RosterWarning(Body):
    """The most urgent warning of all blocks that is not past."""

    code: WarningCode
    level: WarningLevel
    chance: ThreeDigits
    block: str
    message: str


class RosterTrip(Body):
    """The next scouting day, and how many tasks it has."""

    date: dt.date
    tasks: int


class RosterAnswer(Body):
    """One vineyard."""

    grower: str
    vineyard: str
    name: str
    as_of: dt.date
    season: int | None
    bloom: RosterBloom
    worst_warning: RosterWarning | None
    next_trip: RosterTrip | None
    temperatures_through: dt.date | None
    weather_days_behind: int | None = Field(description="Days before `as_of` that lack temperatures by now.")
    why_none: str | None = Field(description="Why nothing is forecast; null where it is.")
    up_to_date: bool = Field(
        description="False where the row is from before the last change or from the day before, or not there yet."
    )

    @classmethod
    def of(cls, row: RosterRow) -> Self:
        """For the client."""
        now, warning, trip = row.now, None, None
        if now is not None and now.worst is not None:
            worst = now.worst
            warning = RosterWarning.showing(worst, block=worst.block.key, message=warning_words(worst))
        if now is not None and now.next_trip is not None:
            trip = RosterTrip(date=now.next_trip.date, tasks=len(now.next_trip.tasks))
        return cls.showing(
            row,
            season=None if now is None else now.season,
            bloom=RosterBloom(state="unknown", starts=None, ends=None)
            if now is None
            else RosterBloom.showing(now.bloom),
            worst_warning=warning,
            next_trip=trip,
            temperatures_through=None if now is None else now.temperatures_through,
            why_none=None if now is not None else why_none_words(row.why, Reader.HTTP),
        )

    def flat(self) -> dict[str, object]:
        """As one line of a table."""
        told = self.model_dump(mode="json")
        nested = ("bloom", "worst_warning", "next_trip")
        inner = {f"{name}_{key}": value for name in nested for key, value in (told.pop(name) or {}).items()}
        return told | inner


class Roster(Body):
    """Vineyards, a row each."""

    vineyards: list[RosterAnswer]
    waiting: int = Field(description="Rows on all pages that are not up to date: ask again.")
    next: str | None


COLUMNS = (
    "grower",
    "vineyard",
    "name",
    "as_of",
    "season",
    "bloom_state",
    "bloom_starts",
    "bloom_ends",
    "worst_warning_level",
    "worst_warning_code",
    "worst_warning_chance",
    "worst_warning_block",
    "next_trip_date",
    "next_trip_tasks",
    "temperatures_through",
    "weather_days_behind",
    "why_none",
    "up_to_date",
)


@router.get("", summary="Show all vineyards", response_model=Roster, responses=AS_CSV | problems(404))
def show_roster(
    request: Request,
    who: Asked,
    page: PageAsked,
    as_of: Annotated[
        IsoDate | None, Query(description="By default today in each vineyard's time zone.")
    ] = None,
    sort: Annotated[
        SortedBy,
        Query(
            description="By the most urgent warning, the grower, the vineyard's name, the stage of its bloom, its "
            "next trip, or how long its weather lags."
        ),
    ] = "worst",
    grower: Annotated[Slug | None, Query(description="Only this grower's.")] = None,
) -> Roster | Response:
    """Every vineyard of every grower that the key lets in to: where its bloom stands, its most urgent warning, its
    next trip, and through which day its temperatures are known. As CSV with `Accept: text/csv`. Rows are kept until
    their data change; a request computes others for up to 20 seconds, and tells how many are still `waiting`.
    """
    growers = who.growers if grower is None else (grower,)
    kept = request.app.state.kept_rows
    found = roster(store(request), growers, kept, as_of=as_of, seconds=LONGEST_SECONDS, by=sort)
    rows, next_page = paged(found, page, order(sort))
    answers = [RosterAnswer.of(row) for row in rows]
    if wants_csv(request):
        return csv_answer(request, COLUMNS, [each.flat() for each in answers], next_page)
    return Roster(vineyards=answers, waiting=sum(not row.up_to_date for row in found), next=next_page)
