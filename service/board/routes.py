"""All pages of the season board, and its static files."""

from __future__ import annotations

from fastapi import APIRouter, FastAPI
from starlette.staticfiles import StaticFiles

from service.board import help_pages, planting_map, reference, season, skill, start, visit
from service.board.pages import PageRoute
from service.web.kept import KEPT
from service.web.turns import HEAVY

router = APIRouter(route_class=PageRoute, include_in_schema=False)
for part in (start, season, visit, skill, planting_map, help_pages, reference):
    computed = part in (season, planting_map)
    router.include_router(part.router, dependencies=[KEPT, HEAVY] if computed else [])


def install(app: FastAPI) -> None:
    """Add the board to the service."""
    app.include_router(router)
    app.mount("/static", StaticFiles(packages=[("service.board", "static")]), name="static")
