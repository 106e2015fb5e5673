"""Which fit the answers of a vineyard rest on."""

from __future__ import annotations

import datetime as dt
from typing import Annotated

from fastapi import Response
from pydantic import Field, StringConstraints

from service import clock
from service.api.editing import IfMatch, check_unchanged, tagged
from service.api.part import part
from service.api.responses import created_or_replaced, problems
from service.api.schemas import Body
from service.store.repositories import Repositories
from service.usecases.fit_in_use import vineyard_fit
from service.web.keys import VineyardKey
from service.web.records import Reading, Writing

router = part("/v1/vineyards/{vineyard}/fit", "fits")


class FitInUseBody(Body):
    """The fit to put in use."""

    fit: Annotated[str, StringConstraints(min_length=1, max_length=63, pattern=r"^[^\x00]*$")]


class BehindAnswer(Body):
    """Dates and visits of past seasons that the fit does not know as they are."""

    rows: int
    seasons: int


class FitInUseAnswer(Body):
    """The fit that a vineyard's answers rest on; null where none is in use."""

    vineyard: str
    fit: str | None
    since: dt.datetime | None
    behind: BehindAnswer = Field(
        description="What bloom log and visits know of past seasons, and the fit does not."
    )


def _tag(shown: FitInUseAnswer) -> FitInUseAnswer:
    """What two people may change: not how far the log went on."""
    return shown.model_copy(update={"behind": BehindAnswer(rows=0, seasons=0)})


def _tagged(response: Response, shown: FitInUseAnswer) -> FitInUseAnswer:
    tagged(response, _tag(shown))
    return shown


@router.get("", summary="Show the fit in use", responses=problems(404))
def get_fit_in_use(vineyard: VineyardKey, response: Response, records: Reading) -> FitInUseAnswer:
    """The fit that forecast, pollination, scouting and calendar rest on, unless they are asked for another one.

    `behind` counts what was noted of past seasons since it was made; a new fit would learn from it. The running
    season is not in it: every forecast learns from that.
    """
    return _tagged(response, answer(records, vineyard))


@router.put("", summary="Put a fit in use", responses={201: {"model": FitInUseAnswer}, **problems(404, 412)})
def put_fit_in_use(
    vineyard: VineyardKey,
    body: FitInUseBody,
    response: Response,
    records: Writing,
    if_match: IfMatch = None,
) -> FitInUseAnswer:
    """Let the vineyard's answers rest on a fit: an earlier one, one that another grower shared, that of another
    vineyard, or one that is not put in use by itself. 201 where none was in use before.
    """
    check_unchanged(if_match, lambda: _tag(answer(records, vineyard)))
    created_or_replaced(response, new=records.fits_in_use.get(vineyard) is None)
    records.fits_in_use.put(vineyard, body.fit)
    return _tagged(response, answer(records, vineyard))


def answer(records: Repositories, vineyard: str) -> FitInUseAnswer:
    """The fit in use as the client sees it."""
    today = clock.today(records.vineyards.get(vineyard).timezone)
    in_use, behind = vineyard_fit(records, vineyard, as_of=today)
    return FitInUseAnswer(
        vineyard=vineyard,
        fit=None if in_use is None else in_use.fit,
        since=None if in_use is None else in_use.since,
        behind=BehindAnswer.showing(behind),
    )
