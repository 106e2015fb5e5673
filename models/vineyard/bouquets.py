"""On which days of a gap flowering shoots can be cut from which blocks, and when to put fresh ones.

Bouquets of flowering shoots in water are common practice in apple orchards that lack pollen (from memory); no source
was found for muscadine.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from models.vineyard.pollen_warnings import PollenWarning
from models.vineyard.reach import NamedBlock

# How long shoots in water are taken to shed. Common practice in apple, no source. [day]
RENEW_DAYS = 2


@dataclass(frozen=True)
class Bouquet:
    """One day without pollen: the blocks that are likely to have open, viable anthers on it, and whether to renew.

    ``blocks`` are empty, and nothing is renewed, where none is likely to.
    """

    date: dt.date
    blocks: tuple[NamedBlock, ...]
    renew: bool


def bouquets(warning: PollenWarning) -> tuple[Bouquet, ...]:
    """Every day of a warning that is still ahead, in order.

    Shoots are put on the first day of each of its spans and renewed every ``RENEW_DAYS``, whenever it is asked; where
    no block has open anthers then, on the first day on which one has again.
    """
    return tuple(each for span in warning.spans for each in _of_span(warning, *span))


def _of_span(warning: PollenWarning, first: dt.date, last: dt.date) -> Iterator[Bouquet]:
    begins = next((start for start, end in warning.ahead if end == last), None)
    if begins is None:
        return
    before: tuple[NamedBlock, ...] | None = None
    for place in range((begins - first).days, (last - first).days + 1):
        day = first + dt.timedelta(days=place)
        blocks = tuple(donor.block for donor in warning.donors if day in donor.days)
        due = place % RENEW_DAYS == 0 or before == ()
        yield Bouquet(day, blocks, bool(blocks) and due)
        before = blocks
