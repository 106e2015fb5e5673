"""Bloom on days of the year on which nothing else bloomed: taken, and named."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence

from models.heat.season import season_of, season_window
from models.records import BloomLogRow, Visit
from models.stages import BLOOM_STAGES
from service.ingest.places import place_text

# Ours. Cultivars and seasons together spread bloom over two months, without a pause of one.
LONGEST_PAUSE_DAYS = 30
FEWEST_DATES, BULK = 4, 0.6
# Where too little is known of the vineyard: days of the season outside of which no vine blooms beyond the tropics.
FIRST_BLOOM_DAY, LAST_BLOOM_DAY, TROPICS = 45, 245, 23.5
MOST_NAMED = 10

Seen = tuple[dt.date, str]


def bloom_seen(log: Iterable[BloomLogRow], visits: Iterable[Visit]) -> list[Seen]:
    """Each day on which a place was in bloom, with the place in words."""
    seen = [
        (row.dates[stage], place_text(row.block, row.cultivar))
        for row in log
        for stage in BLOOM_STAGES
        if stage in row.dates
    ]
    for visit in visits:
        percent, bbch = visit.percent_open, visit.bbch
        if (0 < percent < 100) if percent is not None else (bbch is not None and 60 <= bbch < 69):
            seen.append((visit.date, place_text(visit.block, visit.cultivar)))
    return seen


def odd_bloom(new: Sequence[Seen], known: Sequence[Seen], *, latitude: float) -> list[str]:
    """A warning for each new day of bloom far from the bulk of all days of bloom, by season day.

    Parameters
    ----------
    new, known : sequence of (date, place)
        What was sent, and what was there before.
    latitude : float
        Negative south of the equator. [degree]
    """
    days = sorted(_season_day(date, latitude) for date, _ in (*new, *known))
    bulk = max(_parts(days), key=len, default=[])
    if len(days) >= FEWEST_DATES and len(bulk) >= BULK * len(days):
        first, last = bulk[0], bulk[-1]
        beside = "from the other bloom dates of this vineyard"
    elif abs(latitude) > TROPICS:
        first, last = FIRST_BLOOM_DAY, LAST_BLOOM_DAY
        beside = "outside of the months in which vines bloom"
    else:
        return []
    found = []
    for date, place in new:
        day = _season_day(date, latitude)
        off = max(first - day, day - last)
        if off > 0:
            found.append(
                f"bloom of {place} on {date} lies {off} days {beside}: is it the wrong day, month or block? "
                "It counts until it is corrected or taken back"
            )
    if len(found) > MOST_NAMED:
        return [*found[:MOST_NAMED], f"and {len(found) - MOST_NAMED} more such dates"]
    return found


def _parts(days: Sequence[int]) -> list[list[int]]:
    """Sorted days, cut where nothing bloomed for a month."""
    parts: list[list[int]] = []
    for day in days:
        if parts and day - parts[-1][-1] <= LONGEST_PAUSE_DAYS:
            parts[-1].append(day)
        else:
            parts.append([day])
    return parts


def _season_day(date: dt.date, latitude: float) -> int:
    return season_window(season_of(date, latitude), latitude).day_index(date)
