"""On which days to pick which block, from when each is ripe, its vines and a rate."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass

from models.errors import BadInput, Problem


@dataclass(frozen=True)
class ToPick:
    """A block, its vines, and the day from which it is ripe."""

    block: str
    vines: int
    ripe: dt.date


@dataclass(frozen=True)
class PickDays:
    """First and last day on which a block is picked; ``waits``: days from ripe to the first one. [day]"""

    block: str
    first: dt.date
    last: dt.date
    days: float
    waits: int


def pick_days(blocks: Sequence[ToPick], *, vines_a_day: float, as_of: dt.date) -> tuple[PickDays, ...]:
    """Pick blocks one after the other, each from the day on which it is ripe or once the one before is done.

    The block that is ripe first is picked first: with one crew no other order is done sooner, nor makes the longest
    time from ripe to picked shorter. A day may be shared by the end of one block and the start of the next.

    Parameters
    ----------
    blocks : sequence of ToPick
    vines_a_day : float
        What the crew picks, above 0.
    as_of : date
        Nothing is picked before.

    Returns
    -------
    tuple of PickDays
        In the order of picking.

    Raises
    ------
    BadInput
        If the rate is not above 0.
    """
    if not vines_a_day > 0:
        raise BadInput(
            "a crew picks some vines a day", [Problem("vines_a_day", f"{vines_a_day:g} is not above 0")]
        )
    found = []
    done = float(as_of.toordinal())
    for block in sorted(blocks, key=lambda each: (each.ripe, each.block)):
        start = max(done, float(block.ripe.toordinal()))
        days = block.vines / vines_a_day
        done = start + days
        first = dt.date.fromordinal(math.floor(start))
        last = dt.date.fromordinal(max(math.floor(start), math.ceil(round(done, 9)) - 1))
        found.append(PickDays(block.block, first, last, days, (first - block.ripe).days))
    return tuple(found)
