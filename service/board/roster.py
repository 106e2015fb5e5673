"""All vineyards that one may see, a row each."""

from __future__ import annotations

from typing import Annotated

from fastapi import Query, Request
from starlette.responses import HTMLResponse

from service.board.pages import AsOf, page, pages
from service.usecases.roster import Bloom, RosterRow, SortedBy, roster
from service.web.access import Asked
from service.web.grower_path import address_in
from service.web.records import store
from service.words.errors import Reader
from service.words.language import N_
from service.words.pollen_warnings import what_is_wrong
from service.words.roster import bloom_words, why_none_words

router = pages()

LONGEST_SECONDS = 1.5  # that a page computes; it looks again by itself
COLUMNS: tuple[tuple[SortedBy, str], ...] = (
    ("name", N_("Vineyard")),
    ("bloom", N_("Bloom")),
    ("worst", N_("Worst warning")),
    ("trip", N_("Next trip")),
    ("weather", N_("Weather")),
)


@router.get("/roster")
def show_roster(
    request: Request, who: Asked, as_of: AsOf = None, sort: Annotated[SortedBy, Query()] = "worst"
) -> HTMLResponse:
    """Where each vineyard stands, by default the most urgent warning first."""
    several = len(who.growers) > 1
    kept = request.app.state.kept_rows
    rows = roster(store(request), who.growers, kept, as_of=as_of, seconds=LONGEST_SECONDS, by=sort)
    return page(
        "roster.html",
        rows=[_shown(row, several=several) for row in rows],
        waiting=sum(not row.up_to_date for row in rows),
        columns=COLUMNS,
        sort=sort,
        as_of=as_of,
        who=who,
        several=several,
        growers=[(grower, address_in(grower, "/")) for grower in who.growers],
    )


def _shown(row: RosterRow, *, several: bool) -> dict[str, object]:
    address = f"/vineyards/{row.vineyard}"
    now = row.now
    return {
        "row": row,
        "address": address_in(row.grower, address) if several else address,
        "bloom": None if now is None else _bloom(now.bloom),
        "wrong": None if now is None or now.worst is None else what_is_wrong(now.worst),
        "why": None if now is not None else why_none_words(row.why, Reader.PAGE),
    }


def _bloom(bloom: Bloom) -> str:
    return bloom_words(bloom.state, bloom.starts, bloom.ends, presumed=bloom.presumed)
