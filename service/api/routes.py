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
    crop_counts,
    cultivars,
    degree_days,
    everything,
    fit_in_use,
    fits,
    forecasts,
    frost,
    health,
    hindcast,
    jobs,
    keys,
    layout,
    news,
    picking,
    planting,
    planting_check,
    roster,
    scouting,
    season_review,
    set_counts,
    stations,
    temperatures,
    vineyards,
    visits,
    workbook,
)
from service.api.responses import EVERYWHERE
from service.web.access import asker
from service.web.kept import KEPT, KEPT_WITH_TOLD
from service.web.known_query import known_query
from service.web.turns import HEAVY

# Who asks comes first: nothing of a stranger's request is looked at.
router = APIRouter(responses=EVERYWHERE, dependencies=[Depends(asker), Depends(known_query)])
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
    crop_counts,
    workbook,
    frost,
    changes,
    fits,
    fit_in_use,
    hindcast,
    jobs,
    forecasts,
    bloom_window,
    picking,
    scouting,
    news,
    season_review,
    calendar,
    planting_check,
    layout,
    bloom_report,
    roster,
    everything,
    keys,
):
    computed = part in (bloom_window, calendar, degree_days, forecasts, planting_check, scouting)
    told = part in (news, season_review)
    kept = [KEPT] if computed or part is set_counts else [KEPT_WITH_TOLD] if told else []
    heavy = [HEAVY] if computed or part in (bloom_report, everything, layout, season_review, workbook) else []
    router.include_router(part.router, dependencies=[*kept, *heavy])
