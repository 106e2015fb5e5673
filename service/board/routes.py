"""All pages of the season board, and its static files."""

from __future__ import annotations

from fastapi import APIRouter, FastAPI
from starlette.staticfiles import StaticFiles

from service.board import (
    calendar_link,
    crop,
    cultivar,
    data,
    everything,
    frost,
    fruit_set,
    help_pages,
    layout,
    log_table,
    long_work,
    news,
    phones,
    picking,
    planting_map,
    reference,
    roster,
    season,
    season_review,
    sheet,
    sign_in,
    skill,
    start,
    upkeep,
    visit,
)
from service.board.pages import PageRoute, problem_page
from service.web.kept import KEPT, KEPT_WITH_TOLD
from service.web.turns import HEAVY

OPEN_FORMS = ("/sign-in", "/sign-out", "/phone/")  # where these paths start, forms need no key

router = APIRouter(route_class=PageRoute, include_in_schema=False)
for part in (
    start,
    season,
    visit,
    sheet,
    data,
    log_table,
    upkeep,
    cultivar,
    skill,
    long_work,
    planting_map,
    layout,
    frost,
    fruit_set,
    crop,
    picking,
    news,
    season_review,
    calendar_link,
    roster,
    sign_in,
    phones,
    everything,
    help_pages,
    reference,
):
    told = part in (news, season_review)
    kept = [KEPT] if part in (fruit_set, layout, planting_map, season) else [KEPT_WITH_TOLD] if told else []
    heavy = [HEAVY] if part in (layout, picking, planting_map, season, season_review) else []
    router.include_router(part.router, dependencies=[*kept, *heavy])


def install(app: FastAPI) -> None:
    """Add the board to the service."""
    app.include_router(router)
    app.state.problem_page = problem_page
    app.mount("/static", StaticFiles(packages=[("service.board", "static")]), name="static")
