"""What was changed so far, and how it is undone."""

from __future__ import annotations

import datetime as dt
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import Form, Path, Request
from starlette.responses import HTMLResponse, RedirectResponse

from service.board.pages import Done, page, pages
from service.store.records import Change
from service.web.access import Asked, Grower, needs
from service.web.keys import VineyardKey
from service.web.records import changing, store
from service.web.undoing import check_may_undo, may_undo
from service.words.changes import what_changed

router = pages()

MOST_CHANGES = 50


@router.get("/vineyards/{vineyard}/changes")
def change_list(
    request: Request, vineyard: VineyardKey, grower: Grower, who: Asked, change: Done = None
) -> HTMLResponse:
    """What was changed in the vineyard and at its station, the newest first."""
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        found = {
            each.number: each
            for kind, key in (("vineyard", vineyard), ("station", known.station))
            if key is not None
            for each in records.changes.all(owners={kind: key}, limit=MOST_CHANGES)
        }
    newest = sorted(found.values(), key=lambda each: -each.number)[:MOST_CHANGES]
    zone = None if known.timezone is None else ZoneInfo(known.timezone)
    return page(
        "changes.html",
        vineyard=known,
        asked={},
        change=change,
        changes=[
            (each, what_changed(each.code, each.params), _at(each, zone), may_undo(who, each))
            for each in newest
        ],
    )


def _at(change: Change, zone: ZoneInfo | None) -> dt.datetime:
    return change.at.astimezone(zone)


@router.post("/changes/{change}/undo")
@needs("record")
def undo_from_page(
    request: Request,
    grower: Grower,
    who: Asked,
    change: Annotated[int, Path(ge=1, le=2**31 - 1)],
    back: Annotated[str, Form(max_length=300)] = "/",
) -> RedirectResponse:
    """Undo a change, and go back to the page that it was asked for on."""
    with changing(request, grower, preview=False) as records:
        check_may_undo(who, records.changes.get(change))
        records.changes.undo(change)
    own = back if back.startswith("/") and not back.startswith(("//", "/\\")) else "/"
    return RedirectResponse(f"{own}{'&' if '?' in own else '?'}change={request.state.change}", 303)
