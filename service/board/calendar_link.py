"""The address of a vineyard's calendar, for the calendar of a phone."""

from __future__ import annotations

from fastapi import Request
from starlette.responses import HTMLResponse

from service.board.pages import page, pages
from service.web.access import Asked, Grower, needs
from service.web.calendar_links import NewLink, new_calendar_link
from service.web.keys import VineyardKey
from service.web.origins import host_in, is_loopback, own_address
from service.web.records import store

router = pages()


@router.get("/vineyards/{vineyard}/calendar")
def calendar(request: Request, vineyard: VineyardKey, grower: Grower) -> HTMLResponse:
    """What the calendar shows, and the button that makes a link."""
    return _page(request, grower, vineyard, None)


@router.post("/vineyards/{vineyard}/calendar")
@needs("record")
def make_link(request: Request, vineyard: VineyardKey, grower: Grower, who: Asked) -> HTMLResponse:
    """Make a link and show it, this once."""
    only_here = is_loopback(host_in(own_address(request)))
    return _page(
        request, grower, vineyard, new_calendar_link(request, who, grower, vineyard), only_here=only_here
    )


def _page(
    request: Request, grower: str, vineyard: str, link: NewLink | None, *, only_here: bool = False
) -> HTMLResponse:
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
    return page("calendar_link.html", vineyard=known, link=link, only_here=only_here, asked={})
