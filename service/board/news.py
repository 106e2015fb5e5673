"""What changed since it was last told, on a page."""

from __future__ import annotations

import datetime as dt
from typing import Annotated

from fastapi import Form, Query, Request
from pydantic import BeforeValidator
from starlette.responses import HTMLResponse, RedirectResponse

from models.errors import BadInput, Problem
from service import clock
from service.board.pages import page, pages
from service.usecases.news import news_since
from service.web.access import Grower
from service.web.addresses import mail_address
from service.web.days import IsoDate
from service.web.kept import KEPT_WITH_TOLD
from service.web.keys import VineyardKey
from service.web.records import store
from service.words.news import news_words

router = pages(KEPT_WITH_TOLD)

A_WEEK = dt.timedelta(days=7)
Since = Annotated[IsoDate | None, BeforeValidator(lambda told: told or None), Query()]


@router.get("/vineyards/{vineyard}/news")
def news_page(request: Request, vineyard: VineyardKey, grower: Grower, since: Since = None) -> HTMLResponse:
    """News since a day, by default a week ago; and who gets them by mail."""
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        today = clock.today(known.timezone)
        day = today - A_WEEK if since is None else since
        found = news_since(records, vineyard, day, today=today)
        readers = records.news_readers.all(vineyard)
    return page(
        "news.html",
        vineyard=known,
        asked={},
        since=day,
        today=today,
        found=found,
        news=[news_words(each) for each in found.news],
        readers="\n".join(readers),
    )


@router.post("/vineyards/{vineyard}/news-readers")
def choose_readers(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    addresses: Annotated[str, Form(max_length=10_000)] = "",
) -> RedirectResponse:
    """Mail the news to these addresses, one a line."""
    found, wrong = [], []
    for line in addresses.split():
        try:
            found.append(mail_address(line))
        except ValueError as error:
            wrong.append(Problem(line[:60], str(error)))
    if wrong:
        raise BadInput("an address cannot be read", wrong)
    with store(request).transaction(grower) as records:
        records.news_readers.replace_all(vineyard, found)
    request.state.change = records.journal.number
    return RedirectResponse(f"/vineyards/{vineyard}/news", 303)
