"""Crop: a form for the clusters on one cane, and what the counts say."""

from __future__ import annotations

from typing import Annotated

from fastapi import Form, Path, Request
from starlette.responses import HTMLResponse, RedirectResponse

from models.errors import BadInput, Problem
from models.records import CropCount
from models.vineyard.crop import TRIALS
from service import clock
from service.board.pages import Done, here, page, pages
from service.ingest.cells import whole_number
from service.ingest.crop_counts import MOST_CLUSTERS
from service.ingest.dates import parse_date
from service.ingest.options import ReadOptions
from service.usecases.crop import store_crop_counts, vineyard_crop
from service.web.access import Grower, needs
from service.web.keys import VineyardKey
from service.web.records import changing, store
from service.words.crop import cane_words, trial_words, whom_to_ask
from service.words.language import _

router = pages()

MOST_SHOWN = 20
Cell = Annotated[str, Form(max_length=40)]


@router.get("/vineyards/{vineyard}/crop")
def crop_page(request: Request, vineyard: VineyardKey, grower: Grower, change: Done = None) -> HTMLResponse:
    """Clusters a cane by season and block, and whom to ask."""
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        names = {each.key: each.name for each in records.cultivars.all()}
        blocks = [(each.key, names[each.cultivar]) for each in records.blocks.all(vineyard)]
        counts = records.crop_counts.all(vineyard)
        found = vineyard_crop(records, vineyard) if counts else ()
    return page(
        "crop.html",
        vineyard=known,
        asked={},
        change=change,
        blocks=blocks,
        date=clock.today(known.timezone),
        found=[(each, cane_words(each)) for each in reversed(found)],
        counts=sorted(counts, key=lambda each: each.order, reverse=True)[:MOST_SHOWN],
        to_try=[trial_words(each) for each in TRIALS],
        ask=whom_to_ask(),
    )


@router.post("/vineyards/{vineyard}/crop")
@needs("record")
def record_clusters(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    block: Annotated[str, Form(max_length=63)] = "",
    date: Cell = "",
    cane: Annotated[str, Form(max_length=63)] = "",
    clusters: Cell = "",
) -> RedirectResponse:
    """Store the clusters of one cane, and show the page again."""
    try:
        number = whole_number(clusters.strip(), low=0, high=MOST_CLUSTERS)
    except BadInput as error:
        raise BadInput(_("the count cannot be taken"), [Problem("clusters", error.message)]) from None
    count = CropCount(parse_date(date), block, cane.strip(), number)
    with changing(request, grower, preview=False) as records:
        today = clock.today(records.vineyards.get(vineyard).timezone)
        store_crop_counts(records, vineyard, [count], options=ReadOptions(sent_on=today))
    return RedirectResponse(here(vineyard, "crop", change=request.state.change), 303)


@router.post("/vineyards/{vineyard}/crop/{count}/delete")
@needs("record")
def delete_clusters(
    request: Request, vineyard: VineyardKey, grower: Grower, count: Annotated[str, Path(max_length=63)]
) -> RedirectResponse:
    """Delete one count, and show the page again."""
    with changing(request, grower, preview=False) as records:
        records.crop_counts.delete(vineyard, count)
    return RedirectResponse(here(vineyard, "crop", change=request.state.change), 303)
