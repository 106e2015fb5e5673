"""A layout that works, as a form and its answer on one page."""

from __future__ import annotations

import math
from typing import Annotated, Literal

from fastapi import Query, Request
from starlette.responses import HTMLResponse

from models.errors import BadInput, Problem
from models.units import FEET_PER_METRE, feet_from_metres
from models.vineyard.layout import ROW_SPACING_M, VINE_SPACING_M, PlannedField, PlannedRow
from service.board.pages import PageUnits, page, pages
from service.usecases.cautions import cautions_of
from service.usecases.layout import LayoutAsked, find_layout, plantable
from service.web.access import Grower
from service.web.kept import KEPT
from service.web.keys import VineyardKey
from service.web.records import store
from service.web.turns import HEAVY
from service.web.units import Units
from service.words.cautions import caution_texts
from service.words.language import _
from service.words.layout_search import (
    change_words,
    only_reach_words,
    recomputed_words,
    spare_words,
    step_words,
)

router = pages(KEPT, HEAVY)

SHARES = (1.0, 0.9, 0.8, 0.5)
MOST_TEXT = 20_000


@router.get("/vineyards/{vineyard}/layout")
def layout_page(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    units: PageUnits,
    search: bool = False,
    plant: Annotated[list[str], Query()] = [],  # noqa: B006
    seasons: Annotated[float, Query(gt=0, le=1)] = 1.0,
    spare: Literal["none", "vine", "cultivar"] = "none",
    rows: Annotated[str, Query(max_length=MOST_TEXT)] = "",
    vine_spacing: Annotated[float | None, Query(gt=0, le=400)] = None,
    row_spacing: Annotated[float | None, Query(gt=0, le=400)] = None,
) -> HTMLResponse:
    """The question, and once it is asked the fewest vines to change."""
    spacing = {"vine": _length(VINE_SPACING_M, units), "row": _length(ROW_SPACING_M, units)}
    if vine_spacing is not None:
        spacing["vine"] = vine_spacing
    if row_spacing is not None:
        spacing["row"] = row_spacing
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        names = plantable(records)
        has_blocks = bool(records.blocks.all(vineyard))
        found = None
        if search:
            field = None
            if rows.strip():
                in_m = {key: far / FEET_PER_METRE if units == "us" else far for key, far in spacing.items()}
                field = PlannedField(read_rows(rows), in_m["vine"], in_m["row"])
            asked = LayoutAsked(tuple(plant) or None, field, share_of_seasons=seasons, spare=spare)
            found = find_layout(records, vineyard, asked, fit=None)
    told = None if found is None else found.layout
    count = 0 if told is None else len(told.seasons)
    return page(
        "layout.html",
        vineyard=known,
        asked={"units": units},
        units=units,
        names=names,
        chosen=plant,
        has_blocks=has_blocks,
        rows=rows,
        seasons=seasons,
        shares=SHARES,
        spare=spare,
        spacing=spacing,
        found=told,
        told=None if told is None else step_words(told.asked, count),
        steps=[] if told is None else [step_words(step, count) for step in told.steps],
        changes=[] if told is None else [change_words(each) for each in told.asked.found.changes],
        recomputed=[] if told is None else [recomputed_words(each) for each in told.recomputed],
        said=[] if told is None else [each for each in (spare_words(spare), only_reach_words(told)) if each],
        cautions=[] if found is None else caution_texts(cautions_of(found)),
    )


def read_rows(text: str) -> tuple[PlannedRow, ...]:
    """Rows as they are typed, one a line: how many vines, and the cultivar, which may be left out.

    Raises
    ------
    BadInput
        If a line holds anything else.
    """
    rows = []
    problems = []
    for number, line in enumerate(text.splitlines(), start=1):
        words = line.replace(",", " ").split()
        if not words:
            continue
        if len(words) > 2 or not words[0].isdecimal() or not 1 <= int(words[0]) <= 500:
            problems.append(
                Problem(
                    _("line {number}", number=number),
                    _("write how many vines, and a cultivar, as in: 20 dewlight"),
                )
            )
        else:
            rows.append(PlannedRow(int(words[0]), words[1] if len(words) == 2 else None))
    if problems:
        raise BadInput(_("the rows cannot be read"), problems)
    return tuple(rows)


def _length(length_m: float, units: Units) -> float:
    return math.floor(10 * (feet_from_metres(length_m) if units == "us" else length_m) + 0.5) / 10
