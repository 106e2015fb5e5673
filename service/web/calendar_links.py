"""Addresses of calendars, for programs that send no key."""

from __future__ import annotations

from typing import NamedTuple

from fastapi import Request

from service.usecases.keys import Asker, link_calendar
from service.web.origins import own_address
from service.web.records import store


class NewLink(NamedTuple):
    """Identifier and address of a new link; ``webcal`` is the address as calendar programs open it by themselves, and
    ``news`` that of the feed of news, with the same key.
    """

    key: str
    url: str
    webcal: str
    news: str


def new_calendar_link(request: Request, who: Asker, grower: str, vineyard: str) -> NewLink:
    """Make a link to the calendar of a vineyard, and nothing else of it. Raises NotFound (vineyard)."""
    kept, address = store(request), own_address(request)
    with kept.transaction(grower, read_only=True) as records:
        records.vineyards.get(vineyard)
    with kept.access() as access:
        key, secret = link_calendar(access, who, grower=grower, vineyard=vineyard)
    here = f"{address}/v1/vineyards/{vineyard}"
    url = f"{here}/calendar.ics?key={secret}"
    return NewLink(key.id, url, f"webcal://{url.partition('://')[2]}", f"{here}/news.atom?key={secret}")
