"""What changed since it was last told."""

from __future__ import annotations

import datetime as dt
import re
from typing import Annotated, Self

from fastapi import Query, Request, Response
from pydantic import AfterValidator, Field

from models.vineyard.told import News
from service import clock
from service.api.part import part
from service.api.responses import UNCHANGED, Responses, problems
from service.api.schemas import Body
from service.feed.news import MEDIA_TYPE, to_atom
from service.store.repositories import Repositories
from service.usecases.news import NewsSince, news_since, tell
from service.web.access import needs
from service.web.addresses import mail_address
from service.web.days import IsoDate
from service.web.kept import KEPT_WITH_TOLD, not_kept
from service.web.keys import VineyardKey
from service.web.records import Reading, Writing
from service.words.news import news_words

router = part("/v1/vineyards/{vineyard}", "forecasts", KEPT_WITH_TOLD)

FEED: Responses = {200: {"description": "The feed", "content": {MEDIA_TYPE: {"schema": {"type": "string"}}}}}
MOST_READERS = 50
_NAMES = re.compile(r"(?<!^)(?=[A-Z])")


Address = Annotated[str, AfterValidator(mail_address)]


class NewsItem(Body):
    """One thing that changed: which kind, in words, and where it stands."""

    code: str = Field(
        description="`median_moved`, `stage_seen`, `warning_new`, `warning_level_changed`, `warning_gone`, "
        "`frost_ahead`, `weather_stale` or `new_season`."
    )
    said: str
    block: str | None
    stage: str | None
    warning: str | None
    level: str | None

    @classmethod
    def of(cls, news: News) -> Self:
        """For the client."""
        return cls(
            code=_NAMES.sub("_", type(news).__name__).lower(),
            said=news_words(news),
            block=getattr(news, "block", None),
            stage=getattr(news, "stage", None),
            warning=getattr(news, "code", None),
            level=getattr(news, "level", None),
        )


class NewsAnswer(Body):
    """What changed from one day's answer to today's. ``compared_with`` is null where nothing was told before."""

    vineyard: str
    compared_with: dt.date | None
    kept: bool = Field(description="Whether that day's answer is what was told; else it was computed anew.")
    as_of: dt.date
    news: list[NewsItem]

    @classmethod
    def of(cls, vineyard: str, found: NewsSince) -> Self:
        """For the client."""
        return cls(
            vineyard=vineyard,
            compared_with=None if found.before is None else found.before.day,
            kept=found.kept,
            as_of=found.now.day,
            news=[NewsItem.of(each) for each in found.news],
        )


class ReadersBody(Body):
    """Who gets a vineyard's news by mail."""

    addresses: list[Address] = Field(max_length=MOST_READERS)


@router.get("/news", summary="Show what changed", responses=UNCHANGED | problems(404, 409))
def get_news(
    vineyard: VineyardKey,
    records: Reading,
    since: Annotated[IsoDate, Query(description="Compared with what was told last on or before this day.")],
) -> NewsAnswer:
    """What changed since a day: medians that moved 2 days or more, stages seen, warnings new, raised, eased or gone,
    frost in the outlook, temperatures that have stopped. Where no answer was kept by then, that day's is computed anew.
    """
    today = clock.today(records.vineyards.get(vineyard).timezone)
    return NewsAnswer.of(vineyard, news_since(records, vineyard, since, today=today))


@router.post("/news", summary="Tell today's news", responses=problems(404, 409))
def post_news(vineyard: VineyardKey, records: Writing) -> NewsAnswer:
    """Keep today's answer as told, and show what is new in it since the last day that was. What was told stays told: it
    is not undone. `capfall run-all` does the same once a day, and mails what is new.
    """
    today = clock.today(records.vineyards.get(vineyard).timezone)
    return NewsAnswer.of(vineyard, tell(records, vineyard, today=today, now=clock.now()))


@router.get(
    "/news.atom",
    summary="Subscribe to the news",
    response_class=Response,
    responses=FEED | UNCHANGED | problems(404),
)
@needs("calendar")
def get_news_feed(
    request: Request,
    vineyard: VineyardKey,
    records: Reading,
    key: Annotated[str | None, Query(max_length=100, description="That of a calendar link.")] = None,  # noqa: ARG001
) -> Response:
    """The days that told news as an Atom feed (RFC 4287), newest first. Programs that send no key take the address
    with that of a calendar link.
    """
    not_kept(request)  # it names the address that it was fetched from, with the key in it
    known = records.vineyards.get(vineyard)
    days = records.told_days.all(vineyard)
    stream = to_atom(
        days,
        grower=records.grower,
        vineyard=known,
        address=str(request.url),
        begun=_last_written(records, vineyard),
    )
    return Response(stream, media_type=f"{MEDIA_TYPE}; charset=utf-8")


def _last_written(records: Repositories, vineyard: str) -> dt.datetime:
    """When the vineyard was changed last; where that was before changes were kept, this morning."""
    (last,) = records.changes.all(owners={"vineyard": vineyard}, limit=1) or (None,)
    return clock.now().replace(hour=0, minute=0, second=0, microsecond=0) if last is None else last.at


@router.get("/news-readers", summary="Show who gets the news", responses=UNCHANGED | problems(404))
def get_readers(vineyard: VineyardKey, records: Reading) -> ReadersBody:
    """The addresses to which a vineyard's news are mailed."""
    return ReadersBody(addresses=list(records.news_readers.all(vineyard)))


@router.put("/news-readers", summary="Choose who gets the news", responses=problems(404))
def put_readers(vineyard: VineyardKey, body: ReadersBody, records: Writing) -> ReadersBody:
    """Mail a vineyard's news to these addresses, once a day and only when something changed.

    It takes the mail server of the settings, and `capfall run-all` by a timer.
    """
    records.news_readers.replace_all(vineyard, body.addresses)
    return ReadersBody(addresses=list(records.news_readers.all(vineyard)))
