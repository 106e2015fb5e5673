"""Printed answers beside real ones: words as they are, numbers and dates nearly, identifiers by their shape.

Another machine's linear algebra may round another way, and a draw may fall on the other side of a day.
"""

from __future__ import annotations

import datetime as dt
import re
import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

LEFT_OUT = "..."
WIDTH = 116
SHARE = 0.02  # by which a computed number may differ
ROUNDED = 0.006  # and by how much besides: numbers are printed with two or three decimals
ESTIMATED = {"%", "day", "days", "│"}  # a whole number before one of these is computed: it may be one off

MONTHS = "January February March April May June July August September October November December".split()  # noqa: SIM905
TOKEN = re.compile(
    rf"""
    (?P<time>\d{{4}}-\d\d-\d\dT[\d:.]+(?:Z|\+00:00)?)
    | (?P<date>\d{{4}}-\d\d-\d\d)
    | (?P<id>\b(?:[a-z]+-)?[0-9a-f]{{12}}\b)
    | (?P<spoken>\d{{1,2}}\s+(?:{"|".join(MONTHS)})\b)
    | (?P<packed>\b(?:19|20)\d{{6}}\b)
    | (?P<number>(?<!\w)-?(?:\d{{1,3}}(?:,\d{{3}})+(?!\d)|\d+)(?:\.\d+)?)
    | (?P<word>[^\W\d]\w*(?:-\w+)*)
    | (?P<sign>\S)
    """,
    re.VERBOSE,
)


@dataclass(frozen=True)
class Token:
    """A word, a sign or a value, and where it stands in its text."""

    kind: str
    text: str
    start: int
    end: int

    @property
    def is_value(self) -> bool:
        """Whether another machine may print another one here."""
        return self.kind not in ("word", "sign")


@lru_cache(maxsize=64)
def tokens(text: str) -> Sequence[Token]:
    """All tokens of a text; white space parts them and is nothing else."""
    return tuple(Token(found.lastgroup or "", found[0], *found.span()) for found in TOKEN.finditer(text))


def pieces(printed: str) -> Iterator[tuple[int, str]]:
    """What a shortened answer shows, between what was left out, and where each piece starts."""
    start = 0
    for piece in printed.split(LEFT_OUT):
        if piece.strip():
            yield start, piece
        start += len(piece) + len(LEFT_OUT)


def day_of(token: Token) -> dt.date:
    """The day that a date means; one without a year is taken to be of 2024."""
    if token.kind == "spoken":
        day, month = token.text.split()
        return dt.date(2024, MONTHS.index(month) + 1, int(day))
    return dt.date.fromisoformat(token.text)


def is_near(shown: Token, got: Token, after: str) -> bool:
    """Whether a printed token stands for a real one; ``after`` is the printed token that follows."""
    if shown.kind != got.kind:
        return False
    if shown.kind in ("date", "spoken", "packed"):
        return abs(day_of(shown) - day_of(got)) <= dt.timedelta(days=1)
    if shown.kind == "number":
        one, other = (float(token.text.replace(",", "")) for token in (shown, got))
        if "." in shown.text or "." in got.text:
            return abs(one - other) <= SHARE * abs(other) + ROUNDED
        return abs(one - other) <= (max(1, SHARE * abs(other)) if after in ESTIMATED else 0)
    return shown.kind in ("time", "id") or shown.text == got.text


def has_shape(shown: Token, got: Token, after: str) -> bool:  # noqa: ARG001
    """Whether two tokens are of one kind, and of one text unless they are values."""
    return shown.kind == got.kind and (shown.is_value or shown.text == got.text)


def place(piece: Sequence[Token], real: Sequence[Token], start: int) -> int | None:
    """Where in a real answer a piece stands first, from a token on; None if nowhere."""
    return next((first for first, near in _places(piece, real, start, is_near) if near == len(piece)), None)


def like_place(piece: Sequence[Token], real: Sequence[Token], start: int) -> int | None:
    """Where in a real answer stands what is most like a piece, with the same words and signs; None if nowhere."""
    places = list(_places(piece, real, start, has_shape))
    return max(places, key=lambda found: found[1])[0] if places else None


def _places(
    piece: Sequence[Token], real: Sequence[Token], start: int, fits: Callable[[Token, Token, str], bool]
) -> Iterator[tuple[int, int]]:
    """Each place at which all tokens fit, and how many of them are near."""
    after = [*(token.text for token in piece[1:]), ""]
    begins = None if piece[0].is_value else piece[0].text
    for first in range(start, len(real) - len(piece) + 1):
        if begins is not None and real[first].text != begins:  # what most tokens of a long answer end at
            continue
        if not fits(piece[0], real[first], after[0]):
            continue
        there = real[first : first + len(piece)]
        if all(map(fits, piece, there, after)):
            yield first, sum(map(is_near, piece, there, after))


def missing(printed: str, real: str) -> str | None:
    """The first piece of a printed answer that a real one does not show in its place, beside what it shows there."""
    told = tokens(real)
    at = 0
    for _, piece in pieces(printed):
        wanted = tokens(piece)
        found = place(wanted, told, at)
        if found is None:
            rest = real[told[at].start :] if at < len(told) else ""
            return f"printed:\n{piece.strip()}\n\nthe real answer, after the piece before:\n{rest[:6000]}"
        at = found + len(wanted)
    return None


def rewritten(printed: str, real: str) -> str:
    """A printed answer with the values of a real one.

    Where only values differ, they are put in place. Where words do, the real text from the piece's first
    tokens to its last ones takes the piece's place; a piece that cannot be found so stays as it is.
    """
    told = tokens(real)
    at = 0
    made = list(printed)
    changes: list[tuple[int, int, str]] = []
    for offset, piece in pieces(printed):
        wanted = tokens(piece)
        found = place(wanted, told, at)
        if found is None:
            found = like_place(wanted, told, at)
            if found is None:
                at = _replaced(offset, wanted, real, told, at, changes)
                continue
            changes += [
                (offset + shown.start, offset + shown.end, got.text)
                for shown, got in zip(wanted, told[found:], strict=False)
                if shown.text != got.text and shown.is_value
            ]
        at = found + len(wanted)
    for start, end, text in reversed(changes):
        made[start:end] = text
    return "".join(made)


def _replaced(
    offset: int,
    wanted: Sequence[Token],
    real: str,
    told: Sequence[Token],
    at: int,
    changes: list[tuple[int, int, str]],
) -> int:
    """Note the change of a piece whose words differ; returns where the next piece is looked for."""
    head = like_place(wanted[:4], told, at)
    tail = None if head is None else like_place(wanted[-3:], told, head + 4)
    if head is None or tail is None:
        return at
    text = real[told[head].start : told[tail + 2].end]
    start, end = offset + wanted[0].start, offset + wanted[-1].end
    if "│" not in text:
        text = textwrap.fill(text, WIDTH, break_long_words=False, break_on_hyphens=False)
    changes.append((start, end, text))
    return tail + 3
