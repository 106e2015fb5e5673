"""News of a vineyard: by mail once a day, as a feed, over HTTP and on the page."""

from __future__ import annotations

import datetime as dt
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from fastapi.testclient import TestClient

from service.feed.news import Telling, tell_news
from service.mail import MailServer
from service.store import Store
from tests.api import past_seasons as past
from tests.api.asking import VINEYARD, assert_problem
from tests.conftest import client_of
from tests.feed.conftest import A_DAY, MORNING, READER
from tests.feed.mail_server import MailBox, mail_box


@pytest.fixture
def box() -> Iterator[MailBox]:
    with mail_box() as server:
        yield server


@pytest.fixture
def tell(database: Path, box: MailBox) -> Iterator[Callable[[dt.datetime], list[Telling]]]:
    """Tells the news of a moment through the test's own mail server."""
    store = Store(f"sqlite:///{database}")
    server = MailServer("127.0.0.1", box.port, "capfall@hollow.example", "none")
    yield lambda now: list(tell_news(store, "local", now=now, server=server))
    store.close()


def record_visit(database: Path, day: str, block: str, percent: int) -> None:
    with client_of(database) as client:
        sent = [{"date": day, "block": block, "percent_open": percent}]
        assert client.post(f"{VINEYARD}/visits", json=sent).status_code == 200


def test_a_letter_goes_out_once_a_day_in_the_morning_and_only_when_something_changed(
    database: Path, box: MailBox, tell: Callable[[dt.datetime], list[Telling]]
) -> None:
    assert tell(MORNING - dt.timedelta(hours=4)) == []  # 4 in the morning
    (first,) = tell(MORNING)
    assert (first.outcome, first.sent_to) == ("told", (READER,))
    (letter,) = box.letters
    assert (letter["To"], letter["From"]) == (READER, "capfall@hollow.example")
    assert letter["Subject"].startswith("Hollow: ")
    assert "first day that is told of season 2015" in letter.get_content()
    assert "labels and local rules" in letter.get_content()
    assert tell(MORNING + dt.timedelta(hours=6)) == []  # told today
    # the weather of one more day as it is in the traces' mean may move nothing: then nobody hears of it
    day, quiet = MORNING, 0
    for _ in range(6):
        day += A_DAY
        (telling,) = tell(day)
        assert telling.outcome in ("told", "nothing_new")
        assert telling.sent_to == ((READER,) if telling.news else ())
        quiet += not telling.news
    assert quiet
    assert len(box.letters) == 7 - quiet
    record_visit(database, str(day.date()), "a", 60)  # weeks before anybody expected it
    (seen,) = tell(day + A_DAY)
    assert seen.outcome == "told"
    assert "Block a: bloom start moved" in box.letters[-1].get_content()


def test_a_letter_that_nobody_took_is_due_again(
    box: MailBox, tell: Callable[[dt.datetime], list[Telling]]
) -> None:
    box.refused.add(READER)
    (failed,) = tell(MORNING)
    assert failed.outcome == "not_sent"
    assert failed.problems
    box.refused.clear()
    (again,) = tell(MORNING + dt.timedelta(hours=1))
    assert (again.outcome, again.sent_to) == ("told", (READER,))
    assert len(box.letters) == 1


def test_without_a_fit_in_use_a_vineyard_is_passed_over(migrated_database: Path, tmp_path: Path) -> None:
    copy = tmp_path / "empty.db"
    shutil.copy(migrated_database, copy)
    with client_of(copy) as client:
        past.plant(client)
    store = Store(f"sqlite:///{copy}")
    (told,) = tell_news(store, "local", now=MORNING)
    assert told.outcome == "no_forecast"
    store.close()


def test_a_feed_without_news_has_a_time_at_which_something_was_so(database: Path) -> None:
    with client_of(database) as client:
        last = client.get("/v1/changes?vineyard=hollow&limit=1").json()["changes"][0]["at"]
        feed = ElementTree.fromstring(client.get(f"{VINEYARD}/news.atom").content)
    updated = dt.datetime.fromisoformat(str(feed.findtext("{http://www.w3.org/2005/Atom}updated")))
    assert updated == dt.datetime.fromisoformat(last).replace(microsecond=0)


def test_the_feed_holds_the_days_that_told_news(
    database: Path, tell: Callable[[dt.datetime], list[Telling]]
) -> None:
    """Against the elements that RFC 4287 asks of a feed and an entry (sections 4.1.1 and 4.1.2)."""
    told = [telling for day in range(3) for telling in tell(MORNING + day * A_DAY)]
    with client_of(database) as client:
        answer = client.get(f"{VINEYARD}/news.atom")
        assert answer.headers["content-type"].startswith("application/atom+xml")
        assert client.get(f"{VINEYARD}/news.atom").content == answer.content
    feed = ElementTree.fromstring(answer.content)
    space = "{http://www.w3.org/2005/Atom}"
    assert feed.tag == f"{space}feed"
    entries = feed.findall(f"{space}entry")
    assert len(entries) == sum(bool(telling.news) for telling in told) > 0
    for element in (feed, *entries):
        for name in ("id", "title", "updated"):
            (found,) = element.findall(f"{space}{name}")
            assert found.text
    ids = [entry.findtext(f"{space}id") for entry in entries]
    assert len(set(ids)) == len(ids)
    assert "season 2015" in str(entries[-1].findtext(f"{space}content"))


def news(client: TestClient, since: str) -> dict[str, Any]:
    answer = client.get(f"{VINEYARD}/news", params={"since": since})
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


def test_news_since_a_day_over_http_and_on_the_page(
    database: Path, set_clock: Callable[[dt.datetime], None]
) -> None:
    set_clock(MORNING)
    with client_of(database) as client:
        first = client.post(f"{VINEYARD}/news").json()
        assert (first["compared_with"], first["as_of"]) == (None, "2015-03-20")
        assert news(client, "2015-03-20")["news"] == []  # nothing changed since
        record_visit(database, "2015-03-19", "a", 60)
        set_clock(MORNING + A_DAY)
        later = news(client, "2015-03-20")
        assert (later["compared_with"], later["kept"]) == ("2015-03-20", True)
        moved = [each for each in later["news"] if each["block"] == "a"]
        assert {each["code"] for each in moved} <= {"median_moved", "stage_seen"}
        assert {each["stage"] for each in moved} >= {"bloom_start", "full_bloom"}
        # nothing was kept by then: that day is computed anew, with the visit that was dated after it left out
        anew = news(client, "2015-03-15")
        assert (anew["compared_with"], anew["kept"]) == ("2015-03-15", False)
        assert {each["block"] for each in anew["news"]} >= {"a"}
        shown = client.get("/vineyards/hollow/news", params={"since": "2015-03-20"}).text
        for each in later["news"]:
            assert each["said"] in shown.replace("&#39;", "'")


def test_readers_are_chosen_and_their_choice_undone(database: Path) -> None:
    with client_of(database) as client:
        put = client.put(f"{VINEYARD}/news-readers", json={"addresses": ["eve@hollow.example"]})
        assert put.json() == {"addresses": ["eve@hollow.example"]}
        assert client.post(f"/v1/changes/{put.headers['Capfall-Change']}/undo").status_code == 200
        assert client.get(f"{VINEYARD}/news-readers").json() == {"addresses": [READER]}
        for wrong in ("eve", "eve@farm", "a b@farm.example", "eve@farm.example\nBcc: x@y.example"):
            assert_problem(
                client.put(f"{VINEYARD}/news-readers", json={"addresses": [wrong]}), 422, "ida@farm"
            )
        sent = {"addresses": "eve@hollow.example\nida@hollow.example"}
        page = client.post("/vineyards/hollow/news-readers", data=sent, follow_redirects=False)
        assert page.status_code == 303
        assert len(client.get(f"{VINEYARD}/news-readers").json()["addresses"]) == 2
        assert client.post("/vineyards/hollow/news-readers", data={"addresses": "eve"}).status_code == 422
