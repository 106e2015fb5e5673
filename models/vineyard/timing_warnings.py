"""Pollen that ends before a block's bloom does, starts after it, or stops in between, told with dates.

A likely case (level ``act``) is told by the medians of all draws, so that its dates are those of the
forecast; a mere possibility (``watch``) by the medians of the draws in which it comes true. What to do is
common practice, no source.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.units import FloatArray
from models.vineyard.cover import Cover
from models.vineyard.pollen_warnings import (
    ACT,
    PollenWarning,
    WarningCode,
    WarningLevel,
    level_of,
    notable,
)
from models.vineyard.season_days import SeasonDays, median_day
from models.vineyard.synchrony import BoolArray
from models.vineyard.wording import day_count, from_to, in_words, percent, sentence

Days = tuple[dt.date, dt.date]


@dataclass(frozen=True, eq=False)
class Timing:
    """When one block blooms and its sources have open anthers.

    Attributes
    ----------
    key, name : str
        The block, short and with its cultivar.
    sources : tuple of str
        The sources' names, at least one.
    bloom : ndarray, shape (draw, 3)
        The block's bloom start, full bloom and bloom end. [day]
    source_end, first_open, last_open : ndarray, shape (source, draw)
        Bloom end of each source, first and last day with open anthers; infinite after the season. [day]
    receptive_days : int
        [day]
    """

    key: str
    name: str
    sources: tuple[str, ...]
    bloom: FloatArray
    source_end: FloatArray
    first_open: FloatArray
    last_open: FloatArray
    receptive_days: int
    season: SeasonDays


def timing_warnings(timing: Timing, cover: Cover) -> list[PollenWarning]:
    """All warnings about time for one block whose bloom, and that of a source at least, is known."""
    found = (ends_early(timing, cover), starts_late(timing, cover), gap_between(timing, cover))
    return [warning for warning in found if warning is not None]


def ends_early(timing: Timing, cover: Cover) -> PollenWarning | None:
    """All sources are over while flowers are still to open."""
    happens = notable(cover.after)
    chance = float(happens.mean())
    level = level_of(chance)
    if level is None:
        return None
    told = _counted_draws(happens, level)
    last_open, end = timing.last_open[:, told], timing.bloom[told, 2]
    last = last_open.argmax(axis=0)
    finish = np.take_along_axis(timing.source_end[:, told], last[np.newaxis], axis=0)[0]
    earlier = max(0, int(median_day(end - finish)))
    first_bare = median_day(last_open.max(axis=0)) + 1
    days = _dates(timing, first_bare, median_day(end) + timing.receptive_days - 1)
    return _warning(
        "pollen_ends_early",
        level,
        chance,
        f"{_who(timing.sources, last, 'last')} {_expected(level)} finish on "
        f"{in_words(timing.season.date(median_day(finish)))}, {_apart(earlier, 'before', timing.name)}",
        f"{_loss(timing.key, cover.after[told])} ({percent(chance)} chance that it ends too early). "
        f"{_bouquets(timing, days)}, or set potted self-fertile vines there; for later "
        "years interplant a self-fertile cultivar that blooms later.",
        days,
    )


def starts_late(timing: Timing, cover: Cover) -> PollenWarning | None:
    """Flowers are past before the first source opens."""
    happens = notable(cover.before)
    chance = float(happens.mean())
    level = level_of(chance)
    if level is None:
        return None
    told = _counted_draws(happens, level)
    first_open, start = timing.first_open[:, told], timing.bloom[told, 0]
    opens_on = first_open.min(axis=0)
    opening, first_bare = median_day(opens_on), median_day(start)
    if np.isfinite(opening):
        later = max(0, int(median_day(opens_on - start)))
        date = in_words(timing.season.date(opening))
        when = f"{_expected(level)} begin on {date}, {_apart(later, 'after', timing.name)}"
        last_bare = opening - 1
    else:
        never = "is not expected to" if level == "act" else "may not"
        when = f"{never} bloom within the season, while {timing.name} does"
        last_bare = median_day(timing.bloom[told, 2])
    days = _dates(timing, first_bare, last_bare)
    return _warning(
        "pollen_starts_late",
        level,
        chance,
        f"{_who(timing.sources, first_open.argmin(axis=0), 'first')} {when}",
        f"{_loss(timing.key, cover.before[told])} ({percent(chance)} chance that it starts too late). "
        f"{_bouquets(timing, days)}, or set potted self-fertile vines there; for later "
        "years interplant a self-fertile cultivar that blooms earlier.",
        days,
    )


def gap_between(timing: Timing, cover: Cover) -> PollenWarning | None:
    """One source is over before the next one opens, in the middle of the bloom.

    A forecast has no dates of a gap, so those told are the days without pollen in most of the draws that have one.
    """
    happens = notable(cover.between)
    chance = float(happens.mean())
    level = level_of(chance)
    if level is None:
        return None
    first_open = timing.first_open.min(axis=0)[:, np.newaxis]
    last_open = timing.last_open.max(axis=0)[:, np.newaxis]
    bare = cover.without_pollen & (cover.days > first_open) & (cover.days < last_open)
    often = bare[happens].mean(axis=0)
    likely = cover.days[often >= min(ACT, float(often.max()))]
    days = _dates(timing, likely[0], likely[-1])
    return _warning(
        "pollen_gap",
        level,
        chance,
        f"{sentence(timing.name)} {_expected(level)} be without pollen in the middle of its bloom, after "
        "one source ends and before the next begins",
        f"{_loss(timing.key, cover.between[_counted_draws(happens, level)])} ({percent(chance)} chance of such a "
        f"gap). {_bouquets(timing, days)}.",
        days,
    )


def _counted_draws(happens: BoolArray, level: WarningLevel) -> BoolArray:
    """The draws by whose medians a warning is told."""
    return np.ones_like(happens) if level == "act" else happens


def _dates(timing: Timing, first: float, last: float) -> Days:
    """The days without pollen; at least the first of them."""
    return timing.season.date(first), timing.season.date(max(first, last))


def _warning(
    code: WarningCode, level: WarningLevel, chance: float, event: str, rest: str, days: Days
) -> PollenWarning:
    return PollenWarning(code, level, chance, f"{event}; {rest}", days)


def _expected(level: WarningLevel) -> str:
    return "is expected to" if level == "act" else "may"


def _apart(days: int, order: str, name: str) -> str:
    return f"{day_count(days)} {order} {name}" if days else f"on the same day as {name}"


def _loss(key: str, share: FloatArray) -> str:
    return f"about {percent(float(np.median(share)))} of {key}'s bloom would open without pollen"


def _bouquets(timing: Timing, days: Days) -> str:
    return f"Place flowering shoots of a self-fertile cultivar in water among {timing.key}'s vines {from_to(*days)}"


def _who(sources: tuple[str, ...], by_draw: NDArray[np.intp], place: str) -> str:
    """The source that is most often the first or the last one."""
    source = sources[int(np.bincount(by_draw, minlength=len(sources)).argmax())]
    if len(sources) == 1:
        return sentence(source)
    return f"{sentence(source)}, the {place} of {len(sources)} pollen sources in reach,"
