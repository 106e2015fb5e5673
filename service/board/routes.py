"""All pages of the season board, its static files and the chart library's script."""

from __future__ import annotations

from fastapi import APIRouter, FastAPI, HTTPException, Response
from starlette.staticfiles import StaticFiles

from service.board import (
    fruit_set,
    help_pages,
    layout,
    news,
    planting_map,
    reference,
    season,
    season_review,
    skill,
    start,
    visit,
)
from service.board.charts import SCRIPT_NAME, library_script
from service.board.pages import PageRoute

A_YEAR = 365 * 24 * 3600  # [s]

router = APIRouter(route_class=PageRoute, include_in_schema=False)
for part in (
    start,
    season,
    visit,
    skill,
    planting_map,
    layout,
    fruit_set,
    news,
    season_review,
    help_pages,
    reference,
):
    router.include_router(part.router)


@router.get("/charts/{name}")
def chart_script(name: str) -> Response:
    """The chart library's script; its version is in its name, so that it can be kept for good."""
    if name != SCRIPT_NAME:
        raise HTTPException(404, f"There is no script {name!r}.")
    headers = {"Content-Encoding": "gzip", "Cache-Control": f"public, max-age={A_YEAR}, immutable"}
    return Response(library_script(), media_type="text/javascript", headers=headers)


def install(app: FastAPI) -> None:
    """Add the board to the service."""
    app.include_router(router)
    app.mount("/static", StaticFiles(packages=[("service.board", "static")]), name="static")
