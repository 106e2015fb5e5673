"""On which days a block's flowers are likely to get no pollen: decided here for rows, warnings, page and calendar."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from models.vineyard.cover import Cover
from models.vineyard.pollen_warnings import ACT, WATCH, Span, WarningCode, WarningLevel
from models.vineyard.season_days import SeasonDays
from models.vineyard.synchrony import BoolArray

LEAST_DRAWN = 0.01  # a smaller chance would not be seen in a picture


@dataclass(frozen=True)
class Uncovered:
    """Consecutive days on which receptive flowers are likely to get no pollen.

    Attributes
    ----------
    days : tuple of float
        Each day's chance: one half or more on all of them (``act``), or one fifth or more (``watch``).
    share_of_bloom : float
        Share of the block's flowers that are receptive on these days and get none: median of the draws in which
        such a day comes.
    why : str
        Code of the warning that these days belong to, where a source is in reach.
    """

    first_day: dt.date
    last_day: dt.date
    days: tuple[float, ...]
    share_of_bloom: float
    why: WarningCode

    @property
    def chance(self) -> float:
        """The largest chance of a day."""
        return max(self.days)

    @property
    def level(self) -> WarningLevel:
        """Whether these are days to act on."""
        return "act" if self.chance >= ACT else "watch"

    @property
    def span(self) -> Span:
        """First and last day."""
        return self.first_day, self.last_day


@dataclass(frozen=True)
class DailyChance:
    """Chance of each day from ``first_day`` on that receptive flowers get no pollen."""

    first_day: dt.date
    chances: tuple[float, ...]


def daily_chance(found: Cover, season: SeasonDays) -> DailyChance | None:
    """Every day's chance of flowers without pollen, from the first to the last one worth drawing; None without any."""
    chance = found.chance_without
    worth = np.flatnonzero(chance >= LEAST_DRAWN)
    if not worth.size:
        return None
    first, last = int(worth[0]), int(worth[-1])
    return DailyChance(season.date(found.days[first]), tuple(chance[first : last + 1].tolist()))


def uncovered_runs(found: Cover, season: SeasonDays, *, receptive_days: int) -> tuple[Uncovered, ...]:
    """Runs of days that are likely enough to be without pollen.

    Around days of one half or more, days of less belong to no run: those to act on are told alone.
    """
    chance = found.chance_without
    by_why: dict[WarningCode, BoolArray] = {
        "pollen_starts_late": found.early,
        "pollen_gap": found.gap,
        "pollen_ends_early": found.late,
        "no_pollen_source_in_reach": found.out,
        "unknown_bloom": found.failed,
    }
    told = []
    for first, after in _window(chance >= WATCH, chance >= ACT):
        told.append(
            Uncovered(
                first_day=season.date(found.days[first]),
                last_day=season.date(found.days[after - 1]),
                days=tuple(chance[first:after].tolist()),
                share_of_bloom=share_at_stake(found, [(first, after)], receptive_days=receptive_days),
                why=max(by_why, key=lambda why: int(np.count_nonzero(by_why[why][:, first:after]))),
            )
        )
    return tuple(told)


def share_at_stake(found: Cover, runs: Sequence[tuple[int, int]], *, receptive_days: int) -> float:
    """Share of the flowers that are receptive on days of these runs and get no pollen, where such a day comes."""
    on = np.zeros(len(found.days), dtype=bool)
    opened = np.zeros_like(on)
    for first, after in runs:
        on[first:after] = True
        opened[max(first - (receptive_days - 1), 0) : after] = True
    comes = found.without_pollen[:, on].any(axis=1)
    return float(np.median(found.unmet[comes][:, opened].sum(axis=1)))


def _window(watched: BoolArray, acted: BoolArray) -> Iterator[tuple[int, int]]:
    """First place of each run, and the one after its last."""
    for first, after in _runs(watched):
        inside = [(first + start, first + stop) for start, stop in _runs(acted[first:after])]
        yield from inside or [(first, after)]


def _runs(flags: BoolArray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(flags, prepend=False, append=False))
    return [(int(first), int(after)) for first, after in edges.reshape(-1, 2)]
