"""All routes of version 1, in the order in which the API document shows them."""

from __future__ import annotations

from fastapi import APIRouter, Depends

from service.api import (
    blocks,
    bloom_log,
    bloom_report,
    bloom_window,
    calendar,
    changes,
    cultivars,
    degree_days,
    fit_in_use,
    fits,
    forecasts,
    frost,
    health,
    hindcast,
    jobs,
    layout,
    news,
    planting,
    planting_check,
    scouting,
    season_review,
    set_counts,
    stations,
    temperatures,
    vineyards,
    visits,
)
from service.api.responses import EVERYWHERE
from service.web.known_query import known_query

router = APIRouter(responses=EVERYWHERE, dependencies=[Depends(known_query)])
for part in (
    health,
    stations,
    temperatures,
    degree_days,
    cultivars,
    vineyards,
    blocks,
    planting,
    bloom_log,
    visits,
    set_counts,
    frost,
    changes,
    fits,
    fit_in_use,
    hindcast,
    jobs,
    forecasts,
    bloom_window,
    scouting,
    news,
    season_review,
    calendar,
    planting_check,
    layout,
    bloom_report,
):
    router.include_router(part.router)
