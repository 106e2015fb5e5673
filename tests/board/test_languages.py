"""Pages in the reader's language, with the dates and units that were chosen; no answer is kept for another reader."""

from __future__ import annotations

import html
import json
import re
import shutil
from collections.abc import Iterator
from functools import cache

import pytest
from fastapi.testclient import TestClient

import demo_weather
from tests.conftest import client_of
from tests.words.catalogue import PLACEHOLDER, kept
from tests.words.test_language import texts

BOARD = f"/vineyards/{demo_weather.VINEYARD.key}"
AS_OF = f"as_of={demo_weather.AS_OF}"
FORM, SHEET, SEASON = f"{BOARD}/visit?{AS_OF}", f"{BOARD}/sheet?{AS_OF}", f"{BOARD}?{AS_OF}"
SPANISH = {"Accept-Language": "es-MX,es;q=0.9,en;q=0.5"}


@pytest.fixture(scope="module")
def demo(demo_database: object, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """One service that holds the demo, for all tests that only look."""
    copy = tmp_path_factory.mktemp("languages") / "demo.db"
    shutil.copy(str(demo_database), copy)
    with client_of(copy) as client:
        yield client


@pytest.fixture(autouse=True)
def nothing_chosen(demo: TestClient) -> None:
    demo.cookies.clear()


def shown(page: str) -> str:
    """What a page says, in its elements and labels, without the names of the vineyard's own things."""
    labels = re.findall(r'(?:aria-label|placeholder|data-busy)="([^"]*)"', page)
    return html.unescape(" ".join([re.sub(r"<[^>]*>", "\n", page), *labels]))


@cache
def english_patterns() -> list[tuple[str, str, re.Pattern[str]]]:
    """Each sentence that Spanish says otherwise, its longest part without values, and what finds it in a page.

    A word that stands in a Spanish sentence too, as the name of a column, is none.
    """
    patterns = []
    all_spanish = "\n".join(text for message in kept("es") if message.id for text in texts(message.string))
    for message in kept("es"):
        for english, spanish in zip(texts(message.id), texts(message.string), strict=True):
            parts = PLACEHOLDER.split(re.sub(r"<[^>]*>", "\n", english))
            longest = max(parts, key=len)
            if english != spanish and len(longest) > 6:
                found = re.compile(rf"(?<!\w){'.{1,80}?'.join(map(re.escape, parts))}(?!\w)")
                if not found.search(all_spanish):
                    patterns.append((english, longest, found))
    return patterns


def english_left(text: str) -> list[str]:
    """The English sentences of the catalogue that a text holds."""
    return [english for english, part, whole in english_patterns() if part in text and whole.search(text)]


def test_a_look_back_leads_to_all_pages_but_the_news_of_now(demo: TestClient) -> None:
    leads = re.findall(r'<li><a href="([^"]+)"', demo.get(SEASON).text.partition("</nav>")[0])
    assert f"{BOARD}/map?{AS_OF}" in [each.replace("&amp;", "&").partition("&")[0] for each in leads]
    assert f"{BOARD}/news" in leads


@pytest.mark.parametrize(
    ("address", "said"),
    [
        (FORM, "Capuchones caídos, por ciento"),
        (SHEET, "Hoja de campo"),
        (SEASON, "Esta semana"),
        (f"{BOARD}/map", "Mapa de la plantación"),
        (f"{BOARD}/settings", "Hasta dónde llega el polen"),
        (f"{BOARD}/data", "Agregar datos"),
        (f"{BOARD}/visits", "Todos los bloques"),
    ],
)
def test_a_page_is_spanish_throughout(demo: TestClient, address: str, said: str) -> None:
    answer = demo.get(address, headers=SPANISH)
    assert answer.status_code == 200
    assert answer.headers["content-language"] == "es"
    assert {"Cookie", "Accept-Language"} <= set(answer.headers["vary"].split(", "))
    assert '<html lang="es">' in answer.text
    assert said in answer.text
    assert english_left(shown(answer.text)) == []
    in_english = demo.get(address)
    assert in_english.headers["content-language"] == "en"
    assert said not in in_english.text
    assert len(english_left(shown(in_english.text))) > 10  # what is looked for is there to be found


def test_the_scripts_of_the_form_speak_spanish(demo: TestClient) -> None:
    told = re.search(r'data-words="([^"]*)"', demo.get(FORM, headers=SPANISH).text)
    assert told is not None
    words = json.loads(html.unescape(told[1]))
    assert words["noConnection"] == "Sin conexión."
    assert words["found"] == "{percent} % de capuchones caídos"
    script = demo.get("/static/visit.js").text
    assert set(re.findall(r'texts\.(\w+)|fill\("(\w+)"', script)) == {
        each for each in re.findall(r'texts\.(\w+)|fill\("(\w+)"', script) if (each[0] or each[1]) in words
    }


def test_the_same_question_in_two_languages_has_two_answers(demo: TestClient) -> None:
    english, spanish = demo.get(SEASON), demo.get(SEASON, headers=SPANISH)
    assert english.headers["etag"] != spanish.headers["etag"]
    for _ in range(2):
        assert demo.get(SEASON).text == english.text
        assert demo.get(SEASON, headers=SPANISH).text == spanish.text
    held = SPANISH | {"If-None-Match": english.headers["etag"]}
    assert demo.get(SEASON, headers=held).status_code == 200
    again = demo.get(SEASON, headers=SPANISH | {"If-None-Match": spanish.headers["etag"]})
    assert again.status_code == 304
    assert "Accept-Language" in again.headers["vary"]


def test_what_is_chosen_is_remembered_and_goes_before_what_the_browser_asks(demo: TestClient) -> None:
    demo.get(f"{BOARD}/settings?lang=en&dates=month_first&units=us", headers=SPANISH)
    page = demo.get(SEASON, headers=SPANISH)
    assert page.headers["content-language"] == "en"
    assert "Wednesday, May 20, 2026" in page.text
    assert "within 50 ft" in page.text
    assert re.search(r'href="\?as_of=2026-05-20&amp;lang=es" lang="es"', page.text)
    assert "miércoles 20 de mayo de 2026" in demo.get(f"{SEASON}&lang=es").text


def test_programs_are_answered_in_english_whatever_was_chosen(demo: TestClient) -> None:
    before = demo.get(f"/v1{BOARD}/forecast?{AS_OF}")
    demo.get(f"{BOARD}/settings?lang=es&dates=month_first&units=us")
    after = demo.get(f"/v1{BOARD}/forecast?{AS_OF}", headers=SPANISH)
    assert after.text == before.text
    assert "content-language" not in after.headers


def test_a_problem_is_told_in_spanish(demo: TestClient) -> None:
    for address in ("/vineyards/none", "/no-such-page"):
        answer = demo.get(address, headers=SPANISH | {"Accept": "text/html"})
        assert answer.status_code == 404
        assert "<h1>Eso no existe</h1>" in answer.text


def test_a_reach_in_feet_is_kept_in_metres_and_doubted_in_feet(demo: TestClient) -> None:
    demo.get(f"{BOARD}/settings?units=us")
    page = demo.get(f"{BOARD}/settings").text
    assert 'name="reach" required inputmode="decimal" value="50"' in page
    assert '<option value="ft" selected>' in page
    told = {"name": "Lower Bend", "station": demo_weather.STATION.key, "reach": "60", "reach_unit": "ft"}
    assert demo.post(f"{BOARD}/settings", data=told, follow_redirects=False).status_code == 303
    assert demo.get(f"/v1{BOARD}").json()["reach_m"] == pytest.approx(18.288)
    back = demo.post(f"{BOARD}/settings", data=told | {"reach": "50"}, follow_redirects=False)
    assert back.status_code == 303
    assert demo.get(f"/v1{BOARD}").json()["reach_m"] == pytest.approx(15.24)
    refused = demo.post(f"{BOARD}/settings", data=told | {"reach": "40000"})
    assert refused.status_code == 422
    assert "40000 ft is outside 0 to 32,808 ft" in refused.text


def test_templates_hold_the_units_that_were_chosen(demo: TestClient) -> None:
    assert demo.get("/file-templates/temperatures.csv").text.startswith("date,tmin_c,")
    demo.get("/?units=us")
    assert demo.get("/file-templates/temperatures.csv").text.startswith("date,tmin_f,")
    assert "x_ft,y_ft" in demo.get("/file-templates/planting.csv").text
    assert 'value="50"' in demo.get("/").text
