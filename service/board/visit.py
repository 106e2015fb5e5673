"""Record a visit from the row."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from importlib import resources
from typing import Annotated

from fastapi import APIRouter, Form, Path, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from models.errors import BadInput, Problem
from models.records import Visit
from service import clock
from service.board.pages import AsOf, PageRoute, page
from service.board.season import board_address
from service.ingest.dates import parse_date
from service.ingest.options import ReadOptions
from service.store.repositories import Repositories
from service.usecases.observations import store_visits
from service.web.access import Grower, needs
from service.web.edge_words import for_page
from service.web.keys import VineyardKey
from service.web.records import store

router = APIRouter(route_class=PageRoute, include_in_schema=False)

PERCENT_CHOICES = (0, 2, 10, 25, 50, 75, 95, 100)


@router.get("/vineyards/{vineyard}/visit")
def visit_form(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    as_of: AsOf = None,
    block: Annotated[str | None, Query(max_length=63)] = None,
) -> HTMLResponse:
    """The form: which block, on which day, how many per cent of caps are off."""
    with store(request).transaction(grower, read_only=True) as records:
        return _form(records, vineyard, block, as_of)


def _form(
    records: Repositories,
    vineyard: str,
    block: str | None,
    as_of: dt.date | None,
    *,
    recorded: Visit | None = None,
    warnings: Sequence[str] = (),
) -> HTMLResponse:
    """The form, and what is doubtful of a visit that was recorded."""
    known = records.vineyards.get(vineyard)
    names = {each.key: each.name for each in records.cultivars.all()}
    blocks = [(each.key, names[each.cultivar]) for each in records.blocks.all(vineyard)]
    return page(
        "visit.html",
        vineyard=known,
        blocks=blocks,
        chosen=block,
        as_of=as_of,
        date=as_of or clock.today(known.timezone),
        percents=PERCENT_CHOICES,
        recorded=recorded,
        warnings=[for_page(warning) for warning in warnings],
        asked={} if as_of is None else {"as_of": as_of.isoformat()},
    )


@router.post("/vineyards/{vineyard}/visit")
@needs("record")
def record_visit(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    block: Annotated[str, Form(max_length=63)],
    date: Annotated[str, Form(max_length=40)],
    percent_open: Annotated[float, Form(ge=0, le=100, allow_inf_nan=False)],
    observer: Annotated[str, Form(max_length=200)] = "",
    note: Annotated[str, Form(max_length=2000)] = "",
    as_of: Annotated[str, Form(max_length=10)] = "",
) -> Response:
    """Store the visit, and show the board as of that day or later; or the form again, if something about it is
    doubtful. Browsers with script send it over the API.
    """
    day = parse_date(date)
    visit = Visit(
        day,
        "",
        block,
        percent_open=percent_open,
        observer=observer.strip() or None,
        note=note.strip() or None,
    )
    if not block:
        raise BadInput("the visit cannot be taken", [Problem("block", "choose a block")])
    with store(request).transaction(grower) as records:
        today = clock.today(records.vineyards.get(vineyard).timezone)
        stored = store_visits(records, vineyard, [visit], options=ReadOptions(sent_on=today))
        seen_from = max(day, parse_date(as_of) if as_of else today)
        doubtful = (
            _form(records, vineyard, block, seen_from, recorded=visit, warnings=stored.warnings)
            if stored.warnings
            else None
        )
    request.state.change = records.journal.number
    if doubtful is not None:
        return doubtful
    return RedirectResponse(board_address(vineyard, seen_from, recorded=block), 303)


@router.post("/vineyards/{vineyard}/visits/{visit}/delete")
@needs("record")
def delete_visit(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    visit: Annotated[str, Path(max_length=63)],
    as_of: AsOf = None,
) -> RedirectResponse:
    """Delete one look, as if nobody had been there, and show the board."""
    with store(request).transaction(grower) as records:
        records.visits.delete(vineyard, visit)
    request.state.change = records.journal.number
    return RedirectResponse(board_address(vineyard, as_of), 303)


@router.get("/service-worker.js")
def service_worker() -> Response:
    """The script that keeps the form open without a connection; it has to come from the root."""
    script = resources.files("service.board") / "static" / "service-worker.js"
    return Response(script.read_bytes(), media_type="text/javascript", headers={"Cache-Control": "no-cache"})
