"""All routes of version 1, in the order in which the API document shows them."""

from __future__ import annotations

from fastapi import APIRouter

from service.api import (
    blocks,
    bloom_log,
    cultivars,
    degree_days,
    health,
    planting,
    stations,
    temperatures,
    vineyards,
    visits,
)
from service.api.responses import EVERYWHERE

router = APIRouter(responses=EVERYWHERE)
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
):
    router.include_router(part.router)
