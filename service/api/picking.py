"""On which days to pick which block."""

from __future__ import annotations

import datetime as dt
from typing import Annotated

from fastapi import Query
from pydantic import Field

from service.api.forecast_schemas import StageAnswer
from service.api.forecasts import Foreseen
from service.api.part import part
from service.api.responses import problems
from service.api.schemas import Body, TwoDigits
from service.usecases.cautions import cautions_of
from service.usecases.picking import plan_picking
from service.words.cautions import caution_texts
from service.words.picking import taste_first, why_not_known

router = part("/v1/vineyards/{vineyard}", "forecasts")


class PickAnswer(Body):
    """A block's picking: first and last day, how many days of the crew it takes, and how long it waits once ripe."""

    block: str
    cultivar: str
    vines: int
    harvest: StageAnswer
    first: dt.date
    last: dt.date
    days: TwoDigits
    waits: int = Field(description="Days from the median of harvest to the first one.")


class HarvestNotKnown(Body):
    """A block of which it is not known when it is ripe."""

    block: str
    why: str


class PickingAnswer(Body):
    """The order and the days of picking."""

    vineyard: str
    season: int
    as_of: dt.date
    vines_a_day: float
    blocks: list[PickAnswer] = Field(description="In the order of picking.")
    not_known: list[HarvestNotKnown]
    said: str
    cautions: list[str]


@router.get("/picking", summary="Plan the picking", responses=problems(404, 409))
def get_picking(
    forecast: Foreseen,
    vines_a_day: Annotated[
        float, Query(gt=0, le=1_000_000, allow_inf_nan=False, description="What the crew picks in a day.")
    ],
) -> PickingAnswer:
    """On which days to pick which block: the one that is ripe first comes first, each from the median of its harvest on
    or once the block before is done. It takes a fit that knows `harvest`. What was picked already is not known.
    """
    found = plan_picking(forecast, vines_a_day=vines_a_day)
    told = {block.block: block for block in forecast.forecast.blocks}
    vines = {block.key: block.vines for block in forecast.vineyard.planting.blocks}
    return PickingAnswer(
        vineyard=forecast.vineyard.key,
        season=forecast.forecast.season,
        as_of=forecast.forecast.as_of,
        vines_a_day=vines_a_day,
        blocks=[
            PickAnswer.showing(
                each,
                cultivar=told[each.block].cultivar,
                vines=vines[each.block],
                harvest=StageAnswer.showing(told[each.block].stages["harvest"]),
            )
            for each in found.picks
        ],
        not_known=[HarvestNotKnown(block=each.block, why=why_not_known(each)) for each in found.not_known],
        said=taste_first(),
        cautions=caution_texts(cautions_of(forecast)),
    )
