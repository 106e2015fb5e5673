"""Record a visit from the row."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import resources
from typing import Annotated

from fastapi import Form, Path, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from models.errors import BadInput, CapfallError, Problem
from models.records import Visit
from models.vineyard.scouting import Trip
from models.vineyard.season_state import A_WEEK
from service import clock
from service.board.cluster import DRAWN, cluster
from service.board.pages import AsOf, page, pages
from service.board.season import board_address
from service.ingest.dates import parse_date
from service.ingest.options import ReadOptions
from service.store.repositories import Repositories
from service.usecases.forecasts import stored_forecast
from service.usecases.observations import store_visits
from service.usecases.scouting import plan_scouting
from service.web.access import Grower, needs
from service.web.edge_words import for_page
from service.web.keys import VineyardKey
from service.web.records import changing, store
from service.words.cautions import caution_texts
from service.words.language import _
from service.words.scouting import how_to_estimate, task_name
from service.words.scripts import visit_form_words

router = pages()

PERCENT_CHOICES = (0, 2, 10, 25, 50, 75, 95, 100)
INTERVAL = 0.8
DRAWINGS = {percent: cluster(percent) for percent in DRAWN}


@dataclass(frozen=True)
class OnTrip:
    """A block of a trip, and what is to be looked at there."""

    block: str
    tasks: str


@router.get("/vineyards/{vineyard}/visit")
def visit_form(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    as_of: AsOf = None,
    trip: AsOf = None,
    block: Annotated[str | None, Query(max_length=63)] = None,
) -> HTMLResponse:
    """The form: which block, on which day, how many per cent of caps are off."""
    with store(request).transaction(grower, read_only=True) as records:
        return _form(records, vineyard, block, as_of, trip=trip)


def _form(
    records: Repositories,
    vineyard: str,
    block: str | None,
    as_of: dt.date | None,
    *,
    trip: dt.date | None = None,
    recorded: Visit | None = None,
    warnings: Sequence[str] = (),
) -> HTMLResponse:
    """The form, and what is doubtful of a visit that was recorded."""
    known = records.vineyards.get(vineyard)
    names = {each.key: each.name for each in records.cultivars.all()}
    blocks = [(each.key, names[each.cultivar]) for each in records.blocks.all(vineyard)]
    date = as_of or clock.today(known.timezone)
    planned = planned_trip(records, vineyard, date, trip)
    seen = [kept for kept in records.visits.kept(vineyard) if kept.visit.date == date]
    return page(
        "visit.html",
        vineyard=known,
        blocks=blocks,
        chosen=block,
        as_of=as_of,
        date=date,
        trip_day=None if planned is None else planned.date,
        on_trip=[] if planned is None else on_trip(planned),
        seen=seen,
        percents=PERCENT_CHOICES,
        drawings=DRAWINGS,
        how_to_estimate=how_to_estimate(),
        words=visit_form_words(),
        recorded=recorded,
        warnings=warnings,
        asked={} if as_of is None else {"as_of": as_of.isoformat()},
    )


def planned_trip(records: Repositories, vineyard: str, day: dt.date, asked: dt.date | None) -> Trip | None:
    """The trip of a day, or the next one within a week; None where nothing can be planned."""
    try:
        foreseen = stored_forecast(records, vineyard, as_of=day, fit=None, interval=INTERVAL)
    except CapfallError:
        return None
    trips = plan_scouting(foreseen).trips
    return next((trip for trip in trips if trip.date == asked), None) or next(
        (trip for trip in trips if trip.date < day + A_WEEK), None
    )


def on_trip(trip: Trip) -> list[OnTrip]:
    """The blocks of a trip, each once."""
    tasks: dict[str, list[str]] = {}
    for task in trip.tasks:
        tasks.setdefault(task.block, []).append(task_name(task.task))
    return [OnTrip(block, ", ".join(names)) for block, names in sorted(tasks.items())]


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
        raise BadInput(_("the visit cannot be taken"), [Problem("block", _("choose a block"))])
    with changing(request, grower, preview=False) as records:
        today = clock.today(records.vineyards.get(vineyard).timezone)
        stored = store_visits(records, vineyard, [visit], options=ReadOptions(sent_on=today))
        seen_from = max(day, parse_date(as_of) if as_of else today)
        warnings = [*map(for_page, stored.warnings), *caution_texts(stored.doubts)]
        doubtful = (
            _form(records, vineyard, block, seen_from, recorded=visit, warnings=warnings)
            if warnings
            else None
        )
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
    with changing(request, grower, preview=False) as records:
        records.visits.delete(vineyard, visit)
    return RedirectResponse(board_address(vineyard, as_of), 303)


@router.get("/service-worker.js")
def service_worker() -> Response:
    """The script that keeps pages within reach without a connection; it has to come from the root."""
    script = resources.files("service.board") / "static" / "service-worker.js"
    return Response(script.read_bytes(), media_type="text/javascript", headers={"Cache-Control": "no-cache"})
