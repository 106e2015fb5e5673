"""A season looked back on, as a page that prints on one sheet."""

from __future__ import annotations

from typing import Annotated

from fastapi import Query, Request
from pydantic import BeforeValidator
from starlette.responses import HTMLResponse

from service import clock
from service.board.pages import page, pages
from service.ingest.dates import FIRST_YEAR, LAST_YEAR
from service.usecases.season_review import SIDE_BY_SIDE, review_season
from service.web.access import Grower
from service.web.kept import KEPT_WITH_TOLD
from service.web.keys import VineyardKey
from service.web.records import store
from service.web.turns import HEAVY
from service.web.units import UnitsQuery
from service.words.season_review import basis_words, lead_summary_words, verdict_words, warning_review_words

router = pages(KEPT_WITH_TOLD, HEAVY)

Season = Annotated[int | None, BeforeValidator(lambda told: told or None), Query(ge=FIRST_YEAR, le=LAST_YEAR)]


@router.get("/vineyards/{vineyard}/review")
def review_page(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    season: Season = None,
    units: UnitsQuery = "metric",
) -> HTMLResponse:
    """What was told, what came, and the last seasons side by side."""
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        today = clock.today(known.timezone)
        found = review_season(records, vineyard, season=season, today=today)
    review = found.review
    return page(
        "review.html",
        vineyard=known,
        asked={"units": units},
        units=units,
        review=review,
        beside=found.beside,
        stages=SIDE_BY_SIDE,
        said=basis_words(kept=found.kept, season_in_fit=found.season_in_fit, days=len(review.days_told)),
        leads=[lead_summary_words(each) for each in review.by_lead],
        verdict=verdict_words(review.warnings),
        warnings=[warning_review_words(each) for each in review.warnings],
    )
