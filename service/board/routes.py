"""All pages of the season board, and its static files."""

from __future__ import annotations

from starlette.routing import BaseRoute, Mount
from starlette.staticfiles import StaticFiles

from service.board import (
    calendar_link,
    changes,
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
    planting,
    planting_map,
    reference,
    roster,
    season,
    season_review,
    settings,
    sheet,
    sign_in,
    skill,
    start,
    visit,
    visits,
)

OPEN_FORMS = ("/sign-in", "/sign-out", "/phone/")  # where these paths start, forms need no key

PARTS = (
    start,
    season,
    visit,
    sheet,
    data,
    log_table,
    visits,
    planting,
    settings,
    changes,
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
)
routes: list[BaseRoute] = [
    *(route for part in PARTS for route in part.router.routes),
    Mount("/static", StaticFiles(packages=[("service.board", "static")]), name="static"),
]
