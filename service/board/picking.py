"""Picking: on which days which block, for a rate that is typed."""

from __future__ import annotations

from typing import Annotated

from fastapi import Query, Request
from starlette.responses import HTMLResponse

from models.errors import BadInput, Problem
from service import clock
from service.board.pages import AsOf, page, pages
from service.ingest.cells import number
from service.usecases.forecasts import stored_forecast
from service.usecases.picking import plan_picking
from service.web.access import Grower
from service.web.keys import VineyardKey
from service.web.records import store
from service.web.turns import HEAVY
from service.words.language import _
from service.words.picking import taste_first, why_not_known

router = pages(HEAVY)

MOST_VINES_A_DAY = 1_000_000.0


@router.get("/vineyards/{vineyard}/picking")
def picking_page(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    vines_a_day: Annotated[str, Query(max_length=40)] = "",
    as_of: AsOf = None,
) -> HTMLResponse:
    """The days of picking, once a rate is told."""
    found = foreseen = None
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        if vines_a_day.strip():
            rate = number(vines_a_day.strip())
            if not 0 < rate <= MOST_VINES_A_DAY:
                wrong = _("{rate} vines a day", rate=f"{rate:g}")
                raise BadInput(_("the rate cannot be right"), [Problem("vines_a_day", wrong)])
            day = clock.today(known.timezone) if as_of is None else as_of
            foreseen = stored_forecast(records, vineyard, as_of=day, fit=None, interval=0.8)
            found = plan_picking(foreseen, vines_a_day=rate)
    return page(
        "picking.html",
        vineyard=known,
        asked={},
        vines_a_day=vines_a_day,
        as_of=as_of,
        found=found,
        harvest={} if foreseen is None else {each.block: each.stages for each in foreseen.forecast.blocks},
        not_known=[] if found is None else [(each.block, why_not_known(each)) for each in found.not_known],
        taste=taste_first(),
    )
