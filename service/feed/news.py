"""News of each vineyard: once a day by mail, and as an Atom feed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal
from xml.etree import ElementTree

from models.errors import CapfallError
from models.vineyard.told import News, Told, news_between
from service.feed.ical import unique_id
from service.mail import MailServer, NotSent
from service.store.engine import Store
from service.store.errors import StoreError
from service.store.records import ToldDay, Vineyard
from service.usecases.news import due, keep, prepare, read_told
from service.words.news import news_text, news_title, news_words
from service.words.plain import in_words

ATOM = "http://www.w3.org/2005/Atom"
MEDIA_TYPE = "application/atom+xml"
MOST_ENTRIES = 60

Outcome = Literal["told", "nothing_new", "no_forecast", "not_sent", "failed"]


@dataclass(frozen=True)
class Telling:
    """What became of one vineyard's news: to whom they went, and what went wrong.

    With "not_sent" no reader got them, and the day is not kept as told: they are due again. With "failed" neither, but
    for what has nothing to do with letters.
    """

    vineyard: str
    day: dt.date
    outcome: Outcome
    news: tuple[News, ...] = ()
    sent_to: tuple[str, ...] = ()
    problems: tuple[str, ...] = field(default=())

    @property
    def went_wrong(self) -> bool:
        """Whether somebody has to look: that nothing can be forecast yet is as it is."""
        return self.outcome != "no_forecast" and bool(self.problems)


def tell_news(
    store: Store, grower: str, *, now: dt.datetime, server: MailServer | None = None
) -> tuple[Telling, ...]:
    """Tell every vineyard of a grower whose morning has come: keep the day's answer, and mail what is new in it.

    Once a day and vineyard, however often it is called. Silent where nothing changed. Without a mail server days are
    kept all the same, for page, feed and review.
    """
    return tuple(
        tell_vineyard(store, grower, vineyard, day, now=now, server=server)
        for vineyard, day in due(store, grower, now=now)
    )


def tell_vineyard(
    store: Store, grower: str, key: str, day: dt.date, *, now: dt.datetime, server: MailServer | None
) -> Telling:
    """Tell one vineyard that is due. Raises StoreError (its answer could not be kept)."""
    try:
        with store.transaction(grower, read_only=True) as records:
            vineyard = records.vineyards.get(key)
            readers = records.news_readers.all(key)
            told = prepare(records, key, today=day)
    except (CapfallError, StoreError) as error:
        return Telling(key, day, "no_forecast", problems=(str(error),))
    sent: list[str] = []
    problems: list[str] = []
    if told.news and server is not None:
        title, text = news_title(vineyard.name, told.news), news_text(vineyard.name, in_words(day), told.news)
        for reader in readers:
            try:
                server.send(reader, title, text)
            except NotSent as error:
                problems.append(str(error))
            else:
                sent.append(reader)
    if problems and not sent:
        return Telling(key, day, "not_sent", told.news, problems=tuple(dict.fromkeys(problems)))
    with store.transaction(grower) as records:
        keep(records, key, told.now, now=now)
    return Telling(
        key,
        day,
        "told" if told.news else "nothing_new",
        told.news,
        tuple(sent),
        tuple(dict.fromkeys(problems)),
    )


def to_atom(
    days: Sequence[ToldDay], *, grower: str, vineyard: Vineyard, address: str, begun: dt.datetime
) -> bytes:
    """Kept days as an Atom feed (RFC 4287), newest first: an entry for each that told news.

    Until the first one the feed is as it has ``begun``.
    """
    entries = []
    before: Told | None = None
    for kept in days:
        told = read_told(kept)
        news, _ = news_between(before, told)
        before = told
        if news:
            entries.append((kept, news))
    feed = ElementTree.Element("feed", xmlns=ATOM)
    _add(feed, "id", f"urn:uuid:{unique_id(grower, vineyard.key, 'news')}")
    _add(feed, "title", f"{vineyard.name}: news of the forecast")
    _add(feed, "updated", _moment(entries[-1][0].told_at if entries else begun))
    ElementTree.SubElement(feed, "link", rel="self", href=address)
    _add(ElementTree.SubElement(feed, "author"), "name", "Capfall")
    for kept, news in reversed(entries[-MOST_ENTRIES:]):
        entry = ElementTree.SubElement(feed, "entry")
        _add(entry, "id", f"urn:uuid:{unique_id(grower, vineyard.key, 'news', kept.day.isoformat())}")
        _add(entry, "title", news_title(vineyard.name, news))
        _add(entry, "updated", _moment(kept.told_at))
        content = ElementTree.SubElement(entry, "content", type="text")
        content.text = "\n".join(news_words(each) for each in news)
    stream: bytes = ElementTree.tostring(feed, encoding="utf-8", xml_declaration=True)
    return stream


def _add(parent: ElementTree.Element, name: str, text: str) -> None:
    ElementTree.SubElement(parent, name).text = "".join(
        letter for letter in text if letter >= " " or letter in "\n\t"
    )


def _moment(at: dt.datetime) -> str:
    return at.astimezone(dt.UTC).isoformat(timespec="seconds")
