"""All visits of a vineyard, and one to be changed."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import Form, Path, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse

from models.records import Visit
from service import clock
from service.board.fields import read_percent
from service.board.pages import Done, here, page, pages
from service.ingest.dates import parse_date
from service.ingest.options import ReadOptions
from service.usecases.observations import change_visit
from service.web.access import Grower, needs
from service.web.keys import VineyardKey
from service.web.records import changing, store

router = pages()

VisitId = Annotated[str, Path(max_length=63)]
BlockName = Annotated[str, Query(max_length=63)]
Short = Annotated[str, Form(max_length=63)]
Cell = Annotated[str, Form(max_length=40)]


@router.get("/vineyards/{vineyard}/visits")
def visit_list(
    request: Request, vineyard: VineyardKey, grower: Grower, change: Done = None, block: BlockName = ""
) -> HTMLResponse:
    """All visits, the newest first."""
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        kept = [each for each in records.visits.kept(vineyard) if block in ("", each.visit.block)]
        blocks = [each.key for each in records.blocks.all(vineyard)]
    return page(
        "visits.html",
        vineyard=known,
        asked={},
        change=change,
        visits=sorted(kept, key=lambda each: each.order, reverse=True),
        blocks=blocks,
        chosen=block,
    )


@router.get("/vineyards/{vineyard}/visits/{visit}")
def visit_page(request: Request, vineyard: VineyardKey, grower: Grower, visit: VisitId) -> HTMLResponse:
    """One visit, to be changed or deleted."""
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        seen = records.visits.get(vineyard, visit)
        places = list(records.blocks.known(vineyard))
    return page("visit_edit.html", vineyard=known, asked={}, id=visit, visit=seen, places=places)


@router.post("/vineyards/{vineyard}/visits/{visit}")
@needs("record")
def change_visit_from_page(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    visit: VisitId,
    do: Annotated[Literal["change", "delete"], Form()] = "change",
    block: Short = "",
    date: Cell = "",
    percent_open: Cell = "",
    observer: Annotated[str, Form(max_length=200)] = "",
    note: Annotated[str, Form(max_length=2000)] = "",
) -> RedirectResponse:
    """Store it as it is told now, or delete it."""
    with changing(request, grower, preview=False) as records:
        if do == "delete":
            records.visits.delete(vineyard, visit)
        else:
            old = records.visits.get(vineyard, visit)
            today = clock.today(records.vineyards.get(vineyard).timezone)
            told = Visit(
                parse_date(date),
                "" if block else old.cultivar,
                block or None,
                percent_open=read_percent(percent_open) if percent_open.strip() else None,
                bbch=None if percent_open.strip() else old.bbch,
                observer=observer.strip() or None,
                note=note.strip() or None,
            )
            change_visit(records, vineyard, visit, told, options=ReadOptions(sent_on=today))
    return RedirectResponse(here(vineyard, "visits", change=request.state.change), 303)
