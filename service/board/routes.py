"""All pages of the season board, and its static files."""

from __future__ import annotations

from fastapi import APIRouter, FastAPI
from starlette.staticfiles import StaticFiles

from service.board import (
    data,
    help_pages,
    log_table,
    planting_map,
    reference,
    season,
    sheet,
    skill,
    start,
    upkeep,
    visit,
)
from service.board.pages import PageRoute, problem_page

router = APIRouter(route_class=PageRoute, include_in_schema=False)
for part in (
    start,
    season,
    visit,
    sheet,
    data,
    log_table,
    upkeep,
    skill,
    planting_map,
    help_pages,
    reference,
):
    router.include_router(part.router)


def install(app: FastAPI) -> None:
    """Add the board to the service."""
    app.include_router(router)
    app.state.problem_page = problem_page
    app.mount("/static", StaticFiles(packages=[("service.board", "static")]), name="static")
