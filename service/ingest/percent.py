"""Shares of caps off as people write them: "50", "12,5 %", "~50%", "<5", "25*"."""

from __future__ import annotations

import re
from typing import NamedTuple

from models.errors import BadInput
from service.ingest.cells import number, shown, without_mark

_ABOUT = re.compile(r"(?:~|≈|∼|ca?\.?\s|about\s|approx\.?\s)\s*", re.IGNORECASE)
_BELOW = re.compile(r"(<|≤|<=|>=|≥|>)\s*")
# A bound says on which side of a stage a block is only where no stage lies between: below 10 % bloom has not begun,
# from 95 % on it has ended.
HIGHEST_BELOW, LOWEST_ABOVE = 10.0, 95.0


class Percent(NamedTuple):
    """The number that a cell was taken for, and whether it was written otherwise."""

    value: float
    taken: bool


def read_percent(text: str, *, decimal_comma: bool = False) -> Percent:
    """A share of caps off. [%]

    Raises
    ------
    BadInput
        If it is no number from 0 to 100, or a bound so wide that it does not tell the stage.
    """
    plain, mark = without_mark(text)
    about, bound = _ABOUT.match(plain), _BELOW.match(plain)
    found = about or bound
    bare = plain[found.end() :] if found else plain
    value = number(bare.removesuffix("%").rstrip(), decimal_comma=decimal_comma)
    if not 0 <= value <= 100:
        raise BadInput(f"{shown(text)} is outside 0 to 100")
    if bound is None:
        return Percent(value, taken=bool(mark or about))
    below = bound[1] in ("<", "≤", "<=")
    if below and 0 < value <= HIGHEST_BELOW:
        return Percent(value / 2, taken=True)
    if not below and LOWEST_ABOVE <= value < 100:
        return Percent((value + 100) / 2, taken=True)
    raise BadInput(
        f"{shown(text)} does not tell how far bloom is; write a number (below {HIGHEST_BELOW:g} and from "
        f"{LOWEST_ABOVE:g} on a bound will do)"
    )
