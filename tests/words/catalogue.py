"""The catalogues beside the sentences: what code and templates say, and what each catalogue holds.

``python -m tests.words.catalogue`` brings the catalogues up to date: it adds what is new without a translation, which a
test then asks for, and drops what is said no more.
"""

from __future__ import annotations

import re
import warnings
from functools import cache
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po, write_po

ROOT = Path(__file__).parents[2]
LOCALES = ROOT / "service/words/locale"
KEYWORDS: dict[str, tuple[int, int] | None] = {"_": None, "N_": None, "ngettext": (1, 2)}
METHODS = [("board/templates/**.html", "jinja2"), ("**.py", "python")]
PLACEHOLDER = re.compile(r"\{\w*\}")
WIDTH = 110
HEADER = """# Capfall's sentences in another language; `python -m tests.words.catalogue` keeps it up to date.
msgid ""
msgstr ""
"Language: {language}\\n"
"MIME-Version: 1.0\\n"
"Content-Type: text/plain; charset=utf-8\\n"
"Content-Transfer-Encoding: 8bit\\n"
"Plural-Forms: nplurals=2; plural=(n != 1);\\n"

"""


@cache
def said() -> Catalog:
    """Every sentence of the service, with the files that say it."""
    catalogue = Catalog()
    with warnings.catch_warnings():
        # it warns of values that are f-strings too; sentences that are, another test finds
        warnings.simplefilter("ignore", SyntaxWarning)
        found = list(extract_from_dir(str(ROOT / "service"), method_map=METHODS, keywords=KEYWORDS))
    for file, _line, message, _comments, _context in sorted(found, key=lambda each: (each[0], each[1])):
        catalogue.add(message, locations=[(f"service/{file}", 1)])
    return catalogue


def kept(language: str) -> Catalog:
    """What the catalogue of a language holds."""
    with _file(language).open("rb") as file:
        return read_po(file, locale=language)


def _file(language: str) -> Path:
    return LOCALES / language / "LC_MESSAGES/capfall.po"


def update(language: str) -> None:
    """Add what is new, without a translation, and drop what is said no more."""
    before = kept(language)
    after = Catalog()
    for message in said():
        if message.id:
            old = before.get(message.id)
            files = list(dict.fromkeys(message.locations))
            after.add(message.id, string=None if old is None else old.string, locations=files)
    with _file(language).open("wb") as file:
        file.write(HEADER.replace("{language}", language).encode())
        write_po(file, after, width=WIDTH, include_lineno=False, omit_header=True, sort_by_file=True)


if __name__ == "__main__":
    for folder in sorted(LOCALES.iterdir()):
        update(folder.name)
