"""One cell to one value. Each function raises BadInput that says what was found and what would be right."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from contextlib import contextmanager

from models.errors import BadInput

# Common practice, no source: what people and exports write where there is nothing to write.
BLANKS = frozenset({"", "-", "--", ".", "na", "n/a", "#n/a", "nan", "null", "none", "missing"})

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?", re.ASCII | re.IGNORECASE)
# Common practice, no source: marks behind a value that a note explains, and E for "estimated".
_MARKED = re.compile(r"(.*\d\.?)\s*([*†‡#?!^]+|\s[eE])", re.DOTALL)
_YES = frozenset({"yes", "y", "true", "t", "1"})
_NO = frozenset({"no", "n", "false", "f", "0"})
_LONGEST_SHOWN = 40


def shown(text: str) -> str:
    """A cell as it stands, in quotes, cut where it is long."""
    return repr(text if len(text) <= _LONGEST_SHOWN else text[: _LONGEST_SHOWN - 3] + "...")


@contextmanager
def in_column(name: str) -> Iterator[None]:
    """Put the name of the column before whatever is wrong with its cell."""
    try:
        yield
    except BadInput as error:
        raise BadInput(f"{name}: {error.message}") from None


def is_blank(text: str) -> bool:
    """Whether a cell says that there is no value."""
    return text.casefold() in BLANKS


def number(text: str, *, decimal_comma: bool = False) -> float:
    """A finite number; "12,5" only where a comma can't mean anything else."""
    plain = text.replace("\N{MINUS SIGN}", "-")
    if decimal_comma and plain.count(",") == 1 and "." not in plain:
        plain = plain.replace(",", ".")
    if not _NUMBER.fullmatch(plain):
        raise BadInput(f"{shown(text)} is not a number")
    value = float(plain)
    if math.isinf(value):
        raise BadInput(f"{shown(text)} is too large for a number")
    return value


def without_mark(text: str) -> tuple[str, str]:
    """A value and the mark behind it, which may be blank: "25*" -> "25", "*"."""
    if text[-1:].isdigit():  # most are, and there are many
        return text, ""
    found = _MARKED.fullmatch(text)
    return (found[1], found[2].strip()) if found else (text, "")


def whole_number(text: str, *, low: int, high: int) -> int:
    """A whole number from ``low`` to ``high``; "2018.0" is one, too."""
    value = number(text)
    if value != math.floor(value):
        raise BadInput(f"{shown(text)} is not a whole number")
    if not low <= value <= high:
        raise BadInput(f"{shown(text)} is outside {low} to {high}")
    return int(value)


def yes_or_no(text: str) -> bool:
    """yes, no, true, false, in any case."""
    word = text.casefold()
    if word not in _YES | _NO:
        raise BadInput(f"{shown(text)} is neither yes nor no")
    return word in _YES
