"""In which language people are told things, and how they want dates and units written: the one home of that choice.

English sentences are the message identifiers; a catalogue holds what they are in another language. What has values
names them: ``_("{block} ends on {date}", block=..., date=...)``. A sentence that is kept in a table of codes is marked
with `N_` there, and translated where it is said. What answers programs and terminals never chooses: it stays English.
"""

from __future__ import annotations

import gettext
import io
from contextvars import ContextVar
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Literal, get_args

Language = Literal["en", "es"]
LANGUAGES: tuple[Language, ...] = get_args(Language)
OWN_NAMES: dict[Language, str] = {"en": "English", "es": "Español"}
SOURCE: Language = "en"


@dataclass(frozen=True)
class Reading:
    """How somebody reads: a page or what programs and terminals take, the language, dates as in "June 3" where it is
    English, and °F and feet.
    """

    on_page: bool = False
    language: Language = SOURCE
    month_first: bool = False
    us: bool = False


PROGRAM = Reading()
READING: ContextVar[Reading] = ContextVar("reading", default=PROGRAM)
"""Who reads what is being said; the edge sets it, request by request."""


def reading() -> Reading:
    """How the one reads who is told now."""
    return READING.get()


def language() -> Language:
    """The language of the one who is told now."""
    return READING.get().language


def _(message: str, /, **values: object) -> str:
    """A sentence in the reader's language, with its values in their places."""
    told = message if language() == SOURCE or not message else _catalogue(language()).gettext(message)
    return told.format(**values) if values else told


def plural(one: str, many: str, count: int, /) -> str:
    """What is said of a number of things, its values not yet in their places."""
    return _catalogue(language()).ngettext(one, many, count)


def ngettext(one: str, many: str, count: int, /, **values: object) -> str:
    """A sentence on a number of things; ``count`` is one of its values."""
    return plural(one, many, count).format(count=count, **values)


def N_(message: str, /) -> str:  # noqa: N802
    """Mark a sentence for the catalogue; it is translated where it is said."""
    return message


@cache
def _catalogue(language: Language) -> gettext.NullTranslations:
    if language == SOURCE:
        return gettext.NullTranslations()
    # read at first use: to start takes no longer, and no compiled file has to be kept beside the catalogue
    from babel.messages.mofile import write_mo
    from babel.messages.pofile import read_po

    file = resources.files("service.words") / "locale" / language / "LC_MESSAGES" / "capfall.po"
    compiled = io.BytesIO()
    with file.open("rb") as kept:
        write_mo(compiled, read_po(kept, locale=language))
    compiled.seek(0)
    return gettext.GNUTranslations(compiled)
