"""From which blocks flowering shoots can be cut for one that lacks pollen: those with open anthers on its days."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from models.units import FloatArray
from models.vineyard.cover import Cover
from models.vineyard.pollen_warnings import ACT, Donor, Span
from models.vineyard.reach import NamedBlock
from models.vineyard.season_days import SeasonDays


def donors(
    found: Cover,
    opened: Mapping[NamedBlock, FloatArray],
    spans: Sequence[Span],
    season: SeasonDays,
) -> tuple[Donor, ...]:
    """Blocks that are likely to have open anthers on a day of these spans, where the block lacks pollen on it.

    Parameters
    ----------
    found : Cover
        Of the block that lacks pollen.
    opened : mapping of NamedBlock to ndarray, shape (2, draw)
        First and last day with open, viable anthers of each block that may give shoots, in all the draws of ``found``.
        [day]
    spans : sequence of (date, date)
        Days of ``found``.

    Returns
    -------
    tuple of Donor
        The one with the most such days first.
    """
    places = [
        place
        for place, day in enumerate(found.days)
        if any(first <= season.date(day) <= last for first, last in spans)
    ]
    days = found.days[places].astype(np.float64)[:, np.newaxis]
    lacking = found.without_pollen[:, places].T
    some = lacking.any(axis=0)
    lacking, draws = lacking[:, some], found.told[some]
    enough = np.maximum(ACT * np.count_nonzero(lacking, axis=1), 1)
    given = []
    for name, (first, last) in opened.items():
        is_open = (days >= first[draws]) & (days <= last[draws])
        likely = days[np.count_nonzero(is_open & lacking, axis=1) >= enough, 0]
        if likely.size:
            given.append(Donor(name, tuple(season.date(day) for day in likely)))
    return tuple(sorted(given, key=lambda donor: -len(donor.days)))
