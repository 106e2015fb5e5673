"""A season looked back on."""

from __future__ import annotations

import datetime as dt
from typing import Annotated

from fastapi import Query, Request, Response
from pydantic import Field

from service import clock
from service.api.listing import AS_CSV, csv_answer
from service.api.part import part
from service.api.responses import UNCHANGED, problems, wants_csv
from service.api.schemas import Body, OneDigit, ThreeDigits
from service.ingest.dates import FIRST_YEAR, LAST_YEAR
from service.usecases.season_review import review_season
from service.web.kept import KEPT_WITH_TOLD
from service.web.keys import VineyardKey
from service.web.records import Reading
from service.web.turns import HEAVY
from service.words.season_review import basis_words, warning_review_words

router = part("/v1/vineyards/{vineyard}", "forecasts", KEPT_WITH_TOLD, HEAVY)


class ForetoldAnswer(Body):
    """What was told `lead` days before a stage came, or on the last day before that; `off_days` above 0: too late."""

    lead: int
    told_on: dt.date
    median: dt.date
    low: dt.date
    high: dt.date
    off_days: int
    inside: bool


class StageReviewAnswer(Body):
    """One stage of one block: when it came, and what was told of it before."""

    block: str
    stage: str
    came: dt.date
    foretold: list[ForetoldAnswer]


class WarningReviewAnswer(Body):
    """One warning about time. `verdict`: `came`, `did_not_come`, `unclear`, `not_seen` or `missed` (came untold)."""

    block: str
    code: str
    first_told: dt.date | None
    last_told: dt.date | None
    level: str | None
    highest_chance: ThreeDigits | None
    chance: ThreeDigits = Field(description="As known after the season.")
    verdict: str
    said: str


class LeadAnswer(Body):
    """All stages at one lead. [day]"""

    lead: int
    stages: int
    bias: OneDigit
    mean_absolute_error: OneDigit
    inside: ThreeDigits


class StageSpanAnswer(Body):
    """The first and the last block that reached a stage, and heat at the first. [°C·day]"""

    stage: str
    first: dt.date
    last: dt.date
    heat: OneDigit | None


class SeasonBesideAnswer(Body):
    """One season beside the others."""

    season: int
    stages: list[StageSpanAnswer]
    cover: ThreeDigits | None
    set: ThreeDigits | None


class SeasonReviewAnswer(Body):
    """What was told when, what came, and which warnings were right."""

    vineyard: str
    season: int
    fit: str
    kept: bool = Field(
        description="Whether it rests on what was told; else weekly answers were computed anew."
    )
    said: str
    days_told: list[dt.date]
    by_lead: list[LeadAnswer]
    stages: list[StageReviewAnswer]
    warnings: list[WarningReviewAnswer]
    beside: list[SeasonBesideAnswer] = Field(description="The last seasons side by side, the newest first.")


@router.get(
    "/season-review",
    summary="Look back on a season",
    response_model=SeasonReviewAnswer,
    responses={**AS_CSV, **UNCHANGED, **problems(404, 409)},
)
def get_season_review(
    request: Request,
    vineyard: VineyardKey,
    records: Reading,
    season: Annotated[int | None, Query(ge=FIRST_YEAR, le=LAST_YEAR)] = None,
) -> SeasonReviewAnswer | Response:
    """What was told when, what came, which warnings about time were right, and the last seasons side by side. What was
    told is kept by `capfall run-all`, or by `POST /news`; in a season without, one answer a week is computed anew. The
    rows of `foretold` as CSV with `Accept: text/csv`.
    """
    today = clock.today(records.vineyards.get(vineyard).timezone)
    found = review_season(records, vineyard, season=season, today=today)
    review = found.review
    stages = [StageReviewAnswer.showing(each) for each in review.stages]
    if wants_csv(request):
        rows = [
            {"block": stage.block, "stage": stage.stage, "came": stage.came, **each.model_dump()}
            for stage in stages
            for each in stage.foretold
        ]
        return csv_answer(request, ["block", "stage", "came", *ForetoldAnswer.model_fields], rows)
    return SeasonReviewAnswer(
        vineyard=vineyard,
        season=review.season,
        fit=found.fit.id,
        kept=found.kept,
        said=basis_words(kept=found.kept, season_in_fit=found.season_in_fit, days=len(review.days_told)),
        days_told=list(review.days_told),
        by_lead=[LeadAnswer.showing(each) for each in review.by_lead],
        stages=stages,
        warnings=[
            WarningReviewAnswer.showing(each, said=warning_review_words(each)) for each in review.warnings
        ],
        beside=[SeasonBesideAnswer.showing(each) for each in found.beside],
    )
