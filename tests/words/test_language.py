"""What is said in another language, and how dates are written where."""

from __future__ import annotations

import ast
import datetime as dt
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import pytest
from babel.dates import get_day_names, get_month_names
from babel.messages.catalog import Message

from models.vineyard.block_check import WhyExposed
from models.vineyard.layout_rules import Measured
from models.vineyard.season_state import FirstLack
from service.web.reading import spoken_of
from service.words.language import LANGUAGES, READING, SOURCE, Language, Reading
from service.words.plain import (
    date_and_interval,
    exact_date,
    from_to,
    in_words,
    length_words,
    long_date,
    short_date,
    short_day,
    short_span,
)
from service.words.season import state_words
from tests.words.catalogue import KEYWORDS, PLACEHOLDER, ROOT, kept, said
from tests.words.test_every_code import SAID
from tests.words.test_season import NEXT, NOTHING

IN_ENGLISH = ("reference.html", "help.html", "kind.html")
OTHERS = [language for language in LANGUAGES if language != SOURCE]
DAY, LATER, NEXT_MONTH = dt.date(2026, 5, 28), dt.date(2026, 5, 30), dt.date(2026, 6, 3)


@contextmanager
def read_as(**how: Any) -> Iterator[None]:
    """Be read so for a while."""
    before = READING.set(Reading(on_page=True, **how))
    try:
        yield
    finally:
        READING.reset(before)


def texts(of: object) -> list[str]:
    """A sentence, or both of its forms."""
    return [of] if isinstance(of, str) else list(of) if isinstance(of, Sequence) else []


def sentences(language: str) -> Iterator[Message]:
    return (message for message in kept(language) if message.id)


@pytest.mark.parametrize("language", OTHERS)
def test_no_sentence_lacks_an_entry_and_no_entry_a_sentence(language: str) -> None:
    ours = {message.id for message in said() if message.id}
    assert len(ours) > 900
    entries = {message.id: message for message in sentences(language)}
    assert ours - entries.keys() == set(), "python -m tests.words.catalogue adds them, to be translated"
    assert entries.keys() - ours == set(), "python -m tests.words.catalogue drops them"
    assert not [each.id for each in entries.values() if each.fuzzy]
    assert not [each.id for each in entries.values() if not all(texts(each.string)) or not each.string]


@pytest.mark.parametrize("language", OTHERS)
def test_each_entry_names_the_values_of_its_sentence_and_no_others(language: str) -> None:
    def values(text: str) -> set[str]:
        return set(PLACEHOLDER.findall(text)) - {"{count}"}

    for message in sentences(language):
        one = texts(message.id)
        for text in texts(message.string):
            assert values(text) == values(one[-1]), message.id
            assert text.count('"') == one[-1].count('"'), message.id  # one may stand in an attribute
            assert re.findall(r"</?\w+", text) == re.findall(r"</?\w+", one[-1]), message.id
            assert (text[:1] == " ", text[-1:] == " ") == (one[-1][:1] == " ", one[-1][-1:] == " "), (
                message.id
            )


def test_every_sentence_in_the_code_is_found_there() -> None:
    """None is put together before it is translated, or stands within an f-string, where no extractor looks."""
    ours = {text for message in said() for text in texts(message.id)}
    for file in (ROOT / "service").rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text())):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in KEYWORDS:
                sentence = node.args[0]
                assert not isinstance(sentence, ast.JoinedStr | ast.BinOp), f"{file.name}:{node.lineno}"
                if isinstance(sentence, ast.Constant):
                    assert sentence.value in ours, f"{file.name}:{node.lineno}"


def test_templates_say_nothing_past_the_catalogue() -> None:
    """A word between two elements, or in a label, is one that nobody translates."""
    for file in (ROOT / "service/board/templates").glob("*.html"):
        if file.name in IN_ENGLISH:
            continue
        text = re.sub(
            r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}|<(title|code)>.*?</\1>", "", file.read_text(), flags=re.S
        )
        words = re.findall(r">([^<>]*[A-Za-z]{2}[^<>]*)<", text)
        labels = re.findall(
            r'(?:aria-label|data-busy|data-lost|data-label|title)="([^"]*[A-Za-z]{2}[^"]*)"', text
        )
        own = {"Capfall", "English", "Español", "3 June", "June 3", "°F, ft"}
        assert not {each.strip() for each in (*words, *labels)} - own, file.name


def test_months_and_weekdays_are_those_of_the_common_locale_data() -> None:
    """Unicode CLDR, as Babel carries it."""
    months, weekdays = get_month_names("wide", locale="es"), get_day_names("wide", locale="es")
    with read_as(language="es"):
        for month in range(1, 13):
            assert in_words(dt.date(2026, month, 3)) == f"3 de {months[month]}"
        for day in range(1, 8):
            assert long_date(dt.date(2026, 6, day)).split()[0] == weekdays[dt.date(2026, 6, day).weekday()]


@pytest.mark.parametrize(
    ("how", "told"),
    [
        (
            {},
            ["3 June", "3 Jun", "Wednesday 3 June 2026", "Wed 3 Jun", "3 June 2026", "from 28 May to 3 June",
             "28 to 30 May", "28 May to 3 Jun", "28 May, 28 to 30"],
        ),
        (
            {"month_first": True},
            ["June 3", "Jun 3", "Wednesday, June 3, 2026", "Wed Jun 3", "June 3, 2026", "from May 28 to June 3",
             "May 28 to 30", "May 28 to Jun 3", "May 28, 28 to 30"],
        ),
        (
            {"language": "es", "month_first": True},
            ["3 de junio", "3 jun", "miércoles 3 de junio de 2026", "mié 3 jun", "3 de junio de 2026",
             "del 28 de mayo al 3 de junio", "28 a 30 may", "28 may a 3 jun", "28 may, 28 a 30"],
        ),
    ],
)  # fmt: skip
def test_dates_as_people_write_them(how: dict[str, Any], told: list[str]) -> None:
    with read_as(**how):
        assert told == [
            in_words(NEXT_MONTH),
            short_date(NEXT_MONTH),
            long_date(NEXT_MONTH),
            short_day(NEXT_MONTH),
            exact_date(NEXT_MONTH),
            from_to(DAY, NEXT_MONTH),
            short_span(DAY, LATER),
            short_span(DAY, NEXT_MONTH),
            date_and_interval(DAY, DAY, LATER),
        ]


def test_programs_and_terminals_are_told_dates_as_iso_8601_writes_them() -> None:
    assert exact_date(DAY) == "2026-05-28"


def test_lengths_in_feet_where_these_are_chosen() -> None:
    assert length_words(15.24) == "15.24 m (50 ft)"
    with read_as(us=True):
        assert length_words(15.24) == "50 ft"


def test_the_season_in_a_spanish_sentence() -> None:
    state = replace(
        NOTHING,
        in_bloom=("west-1",),
        due=("west-2", "west-3"),
        next=NEXT,
        pistillate=7,
        lacking=("a", "b"),
        perhaps=("c",),
        first_lack=FirstLack("b", NEXT_MONTH),
    )
    with read_as(language="es"):
        assert state_words(state) == (
            "West-1 está en floración, west-2 y west-3 pueden florecer en cualquier momento; sigue west-4 el 28 de "
            "mayo (26 a 30). A 2 de 7 bloques pistilados probablemente les faltará polen, primero b desde el 3 de "
            "junio; a 1 más quizás."
        )


# published layouts, and why a block is exposed, are told to programs and terminals alone
ON_PAGES = [(codes, say) for union, codes, say in SAID if union not in (Measured, WhyExposed)]


@pytest.mark.parametrize(("codes", "say"), ON_PAGES)
def test_every_code_that_pages_tell_is_said_in_spanish(codes: Sequence[Any], say: Any) -> None:
    english = [say(code) for code in codes]
    with read_as(language="es"):
        spanish = [say(code) for code in codes]
    for before, now in zip(english, spanish, strict=True):
        assert before != now


@pytest.mark.parametrize(
    ("header", "language"),
    [
        ("", "en"),
        ("es-MX,es;q=0.9,en;q=0.8", "es"),
        ("en-US,en;q=0.9,es;q=0.8", "en"),
        ("fr;q=1, es;q=0.5, en;q=0.3", "es"),
        ("fr", "en"),
        ("es;q=0, en", "en"),
        ("es;q=x, en;q=0.1", "en"),
        ("ES", "es"),
    ],
)
def test_the_language_that_a_browser_likes_best(header: str, language: Language) -> None:
    assert spoken_of(header) == language
