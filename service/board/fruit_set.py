"""Set: a form for one cluster's count, and what the counts say."""

from __future__ import annotations

from typing import Annotated

from fastapi import Form, Path, Request
from starlette.responses import HTMLResponse, RedirectResponse

from models.errors import BadInput, Problem
from models.records import SetCount
from models.vineyard.fruit_set import PUBLISHED
from service import clock
from service.board.pages import page, pages
from service.ingest.dates import parse_date
from service.ingest.options import ReadOptions
from service.usecases.fruit_set import store_set_counts, vineyard_set
from service.web.access import Grower, needs
from service.web.kept import KEPT
from service.web.keys import VineyardKey
from service.web.records import store
from service.words.fruit_set import LEFT_OUT, claim_words, days_words, published_words

router = pages(KEPT)

INTERVAL = 0.9


@router.get("/vineyards/{vineyard}/set")
def set_page(request: Request, vineyard: VineyardKey, grower: Grower) -> HTMLResponse:
    """Share of the flowers that set, by season and block, beside published ranges and beside cover."""
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        names = {each.key: each.name for each in records.cultivars.all()}
        blocks = [(each.key, names[each.cultivar]) for each in records.blocks.all(vineyard)]
        counts = records.set_counts.all(vineyard)
        found = vineyard_set(records, vineyard, interval=INTERVAL) if counts else None
    said = []
    if found is not None:
        said.append(claim_words(found.claim))
        if found.claim.receptive is not None and found.claim.pollen is not None:
            said.append(days_words(found.claim.receptive, found.claim.pollen))
    return page(
        "set.html",
        vineyard=known,
        asked={},
        blocks=blocks,
        names=names,
        date=clock.today(known.timezone),
        counts=sorted(counts, key=lambda each: each.order, reverse=True)[:20],
        found=found,
        why=LEFT_OUT,
        said=said,
        interval=INTERVAL,
        published=[published_words(each) for each in PUBLISHED],
    )


@router.post("/vineyards/{vineyard}/set")
@needs("record")
def record_count(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    block: Annotated[str, Form(max_length=63)],
    date: Annotated[str, Form(max_length=40)],
    cluster: Annotated[str, Form(max_length=63)],
    flowers: Annotated[str, Form(max_length=10)] = "",
    berries: Annotated[str, Form(max_length=10)] = "",
) -> RedirectResponse:
    """Store one cluster's count, and show the page again."""
    count = SetCount(
        parse_date(date), block, cluster.strip(), _count(flowers, "flowers"), _count(berries, "berries")
    )
    with store(request).transaction(grower) as records:
        today = clock.today(records.vineyards.get(vineyard).timezone)
        store_set_counts(records, vineyard, [count], options=ReadOptions(sent_on=today))
    request.state.change = records.journal.number
    return RedirectResponse(f"/vineyards/{vineyard}/set", 303)


@router.post("/vineyards/{vineyard}/set/{count}/delete")
@needs("record")
def delete_count(
    request: Request, vineyard: VineyardKey, grower: Grower, count: Annotated[str, Path(max_length=63)]
) -> RedirectResponse:
    """Delete one count, and show the page again."""
    with store(request).transaction(grower) as records:
        records.set_counts.delete(vineyard, count)
    request.state.change = records.journal.number
    return RedirectResponse(f"/vineyards/{vineyard}/set", 303)


def _count(text: str, where: str) -> int | None:
    if not text.strip():
        return None
    if not text.strip().isdecimal():
        raise BadInput("the count cannot be taken", [Problem(where, f"{text!r} is no whole number")])
    return int(text)
