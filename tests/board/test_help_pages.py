"""The guide, the pages of problems and the API reference: whole, linked, and without anything from outside."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from functools import cache
from html import unescape
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import pytest
from fastapi.testclient import TestClient

from service.board import help_pages, reference
from service.board.help_pages import PAGES, sections, title_of
from service.board.markdown import rendered
from service.web.problems import all_kinds
from tests.api.asking import Answer
from tests.board.serving import PHONE, Served, watched
from tests.board.test_in_browser import serious_violations
from tests.conftest import client_of

if TYPE_CHECKING:
    from playwright.sync_api import Browser

GUIDE = [
    "/help",
    "/docs",
    *(f"/help/{name}" for name in PAGES),
    *(f"/problems/{slug}" for slug in all_kinds()),
]


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A service that knows nothing yet; these pages change nothing."""
    with client_of(tmp_path_factory.mktemp("guide") / "capfall.db") as made:
        yield made


@pytest.fixture(scope="module")
def asked(client: TestClient) -> Callable[[str], Answer]:
    """Asks for a page once, however many others link to it."""
    return cache(lambda path: client.get(path))


@pytest.mark.parametrize("address", GUIDE)
def test_a_page_stands_alone_and_its_links_lead_somewhere(
    asked: Callable[[str], Answer], address: str
) -> None:
    answer = asked(address)
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    assert "default-src 'self'" in answer.headers["content-security-policy"]
    assert not re.findall(r'(?:src|action)="(?:[a-z]+:)?//', answer.text)
    for target in set(re.findall(r'href="([^"]+)"', answer.text)):
        if target.startswith("http"):
            assert target.startswith("http://127.0.0.1:8000"), target  # a page of the service itself
            continue
        path, _, place = target.partition("#")
        linked = asked(path) if path else answer
        assert linked.status_code == 200, target
        assert not place or f'id="{place}"' in linked.text, target


def test_all_files_of_the_guide_are_pages() -> None:
    kept = {file.name.removesuffix(".md") for file in (files("service.board") / "help").iterdir()}
    assert kept == set(PAGES)
    assert len(set(map(title_of, PAGES))) == len(PAGES)


def test_every_page_links_to_guide_and_reference(client: TestClient) -> None:
    for address in ("/", "/help", "/docs", "/vineyards/none"):
        text = client.get(address).text
        assert all(f'href="{target}"' in text for target in ("/help", "/docs", "/help/changes"))


def test_tables_and_code_are_shown_and_html_stays_text(client: TestClient) -> None:
    assert "<th>variable</th>" in client.get("/help/settings").text
    assert "<pre><code" in client.get("/help/session").text
    assert rendered("a <b>c</b>") == "<p>a &lt;b&gt;c&lt;/b&gt;</p>\n"
    assert '<a href="/help/files#dates">' in rendered("[x](files.md#dates)")


def test_every_kind_of_problem_is_explained(client: TestClient) -> None:
    assert list(sections("problems")) != []
    assert sections("problems").keys() == all_kinds().keys()
    for slug, kind in all_kinds().items():
        text = client.get(f"/problems/{slug}").text
        assert f"<h1>{kind.title}</h1>" in text
        told = sections("problems")[slug].split("\n\n")
        assert len(told) >= 2, f"{slug}: what it means, and what to do"
        assert told[0].split()[0] in text


def test_the_type_of_a_problem_opens_its_page(client: TestClient) -> None:
    problem = client.get("/v1/stations/none").json()
    page = client.get(problem["type"])
    assert page.status_code == 200
    assert problem["title"] in page.text


@pytest.mark.parametrize("address", ["/help/none", "/problems/none"])
def test_what_is_not_there_is_said(client: TestClient, address: str) -> None:
    answer = client.get(address)
    assert answer.status_code == 404
    assert "none" in answer.text


def test_the_reference_tells_all_of_the_document(client: TestClient, document: dict[str, Any]) -> None:
    text = unescape(client.get("/docs").text)
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            assert f'<h3 id="{operation["operationId"]}">{operation["summary"]}</h3>' in text
            assert f"<code>{method.upper()} {path}</code>" in text
            part = text.partition(f'<h3 id="{operation["operationId"]}">')[2].partition("</article>")[0]
            for parameter in operation.get("parameters", ()):
                assert f"<code>{parameter['name']}</code>" in part, (method, path)
            for media_type in operation.get("requestBody", {}).get("content", {}):
                assert f"<code>{media_type}</code>" in part
            shown = {
                example["summary"]
                for holder in (operation.get("requestBody", {}), *operation["responses"].values())
                for media in holder.get("content", {}).values()
                for example in media.get("examples", {}).values()
            }
            assert {
                summary for summary in shown if f"<summary>Example: {summary}</summary>" not in part
            } == set()
    for name, schema in document["components"]["schemas"].items():
        part = text.partition(f'<h3 id="{name}">')[2].partition("<h3")[0]
        assert all(f"<code>{field}</code>" in part for field in schema.get("properties", ())), name


def test_an_example_of_the_reference(document: dict[str, Any]) -> None:
    (upload,) = [each for each in reference.groups(document)["stations"] if each.key == "upload_temperatures"]
    outlook = next(example for example in upload.examples if "kind=outlook" in example.asked)
    assert outlook.asked.startswith("POST /v1/stations/")
    assert "{" not in outlook.asked
    assert outlook.body.startswith("date,")
    assert outlook.status == "200"
    assert '"kind": "outlook"' in outlook.answer
    assert dict(upload.parameters[:1])["path"].needed
    assert help_pages.PAGES[-1] == "changes"


@pytest.mark.browser
def test_a_screen_reader_and_a_phone_can_show_the_guide(fresh_service: Served, browser: Browser) -> None:
    with watched(browser, PHONE) as (page, watch):
        for address in ("/help", "/help/session", "/help/files", "/docs", "/problems/bad-input"):
            page.goto(fresh_service.address + address)
            assert serious_violations(page) == []
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), address
        watch.clean()
