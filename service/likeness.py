"""Which of the known names was probably meant by one that is not known."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import SequenceMatcher

LIKENESS = 0.7


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name most like ``name``; None where none is like it, or several are equally so."""
    likeness = sorted(((SequenceMatcher(None, name, each).ratio(), each) for each in known), reverse=True)
    if not likeness or likeness[0][0] < LIKENESS:
        return None
    return None if len(likeness) > 1 and likeness[1][0] == likeness[0][0] else likeness[0][1]
