"""All routes of version 1, in the order in which the API document shows them."""

from __future__ import annotations

from fastapi import APIRouter, Depends

from service.api import (
    blocks,
    bloom_log,
    bloom_report,
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
    planting,
    planting_check,
    scouting,
    stations,
    temperatures,
    vineyards,
    visits,
)
from service.api.responses import EVERYWHERE
from service.web.kept import KEPT
from service.web.known_query import known_query
from service.web.turns import HEAVY

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
    frost,
    changes,
    fits,
    fit_in_use,
    hindcast,
    jobs,
    forecasts,
    scouting,
    calendar,
    planting_check,
    bloom_report,
):
    kept = part in (calendar, degree_days, forecasts, planting_check, scouting)
    heavy = kept or part is bloom_report
    router.include_router(part.router, dependencies=[*([KEPT] if kept else []), *([HEAVY] if heavy else [])])
