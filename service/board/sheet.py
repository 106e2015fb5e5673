"""The field sheet of a trip: printed with blanks, and typed back in the same table."""

from __future__ import annotations

from typing import Annotated

from fastapi import Form, Request
from starlette.responses import HTMLResponse, RedirectResponse

from models.errors import BadInput, Problem
from models.records import Visit
from service import clock
from service.board.fields import read_percent
from service.board.pages import AsOf, here, page, pages
from service.board.visit import OnTrip, on_trip, planned_trip
from service.ingest.dates import parse_date
from service.ingest.options import ReadOptions
from service.usecases.observations import store_visits
from service.web.access import Grower, needs
from service.web.keys import VineyardKey
from service.web.records import changing, store
from service.words.language import _
from service.words.scouting import how_to_estimate

router = pages()

Cells = Annotated[list[str] | None, Form()]


@router.get("/vineyards/{vineyard}/sheet")
def field_sheet(
    request: Request, vineyard: VineyardKey, grower: Grower, as_of: AsOf = None, trip: AsOf = None
) -> HTMLResponse:
    """A line a block of the trip; all blocks where no trip is planned."""
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        today = clock.today(known.timezone)
        planned = planned_trip(records, vineyard, as_of or today, trip)
        names = {each.key: each.name for each in records.cultivars.all()}
        blocks = records.blocks.all(vineyard)
    tasks = {} if planned is None else {each.block: each for each in on_trip(planned)}
    lines = [
        (each.key, names[each.cultivar], tasks.get(each.key, OnTrip(each.key, "")).tasks)
        for each in blocks
        if not tasks or each.key in tasks
    ]
    return page(
        "sheet.html",
        vineyard=known,
        asked={},
        lines=lines,
        trip_day=None if planned is None else planned.date,
        date=as_of or today,
        how_to_estimate=how_to_estimate(),
    )


@router.post("/vineyards/{vineyard}/sheet")
@needs("record")
def take_sheet(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    date: Annotated[str, Form(max_length=40)],
    observer: Annotated[str, Form(max_length=200)] = "",
    block: Cells = None,
    percent_open: Cells = None,
    note: Cells = None,
) -> RedirectResponse:
    """Store a visit for every line that has a number; all of them, or none."""
    lines = list(zip(block or (), percent_open or (), note or (), strict=True))
    day = parse_date(date)
    problems: list[Problem] = []
    visits = []
    for key, percent, said in lines:
        if not percent.strip():
            if said.strip():
                problems.append(Problem(key, _("a note without a number of per cent")))
            continue
        try:
            told = read_percent(percent)
        except BadInput as error:
            problems.append(Problem(key, error.message))
            continue
        visits.append(
            Visit(
                day, "", key, percent_open=told, observer=observer.strip() or None, note=said.strip() or None
            )
        )
    if not visits and not problems:
        problems.append(Problem("percent_open", _("no line has a number yet")))
    if problems:
        raise BadInput(_("the sheet cannot be taken"), problems)
    with changing(request, grower, preview=False) as records:
        today = clock.today(records.vineyards.get(vineyard).timezone)
        store_visits(records, vineyard, visits, options=ReadOptions(sent_on=today))
    return RedirectResponse(here(vineyard, "visits", change=request.state.change), 303)
