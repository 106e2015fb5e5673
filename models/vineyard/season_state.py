"""How a season stands on a day: which blocks bloom, which lack pollen, and what is to be done within a week."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from models.bloom.forecast import BlockForecast, StageForecast
from models.vineyard.block_pollination import BlockPollination
from models.vineyard.bouquets import bouquets
from models.vineyard.pollen_warnings import PollenWarning, WarningCode
from models.vineyard.scouting import Plan, PlannedTask

Standing = Literal["unknown", "to_come", "due", "presumed", "in_bloom", "over"]

# A block is due from so long before the early end of its interval. Our convention. [day]
DUE_BEFORE = dt.timedelta(days=2)
A_WEEK = dt.timedelta(days=7)
LACKING: tuple[WarningCode, ...] = (
    "no_pollen_source_in_reach",
    "no_viable_pollen",
    "pollen_starts_late",
    "pollen_gap",
    "pollen_ends_early",
)
"""The warnings that say that flowers open without pollen, rather than that little would have to happen for it."""


@dataclass(frozen=True)
class NextBloom:
    """The first block whose bloom is still to come."""

    block: str
    median: dt.date
    low: dt.date | None
    high: dt.date | None


@dataclass(frozen=True)
class FirstLack:
    """The block that lacks pollen first, and from which day on; None where no day is likely enough."""

    block: str
    day: dt.date | None


@dataclass(frozen=True, kw_only=True)
class SeasonState:
    """Blocks by how their bloom stands, and the pistillate ones by how their pollen does.

    ``lacking`` are likely (one half or more) to have flowers without pollen on a day still to come, ``perhaps`` may
    have (one fifth or more).
    """

    as_of: dt.date
    in_bloom: tuple[str, ...]
    presumed: tuple[str, ...]
    due: tuple[str, ...]
    over: tuple[str, ...]
    unknown: tuple[str, ...]
    next: NextBloom | None
    blocks: int
    pistillate: int
    lacking: tuple[str, ...]
    perhaps: tuple[str, ...]
    first_lack: FirstLack | None


@dataclass(frozen=True)
class Walk:
    """A trip of the plan."""

    day: dt.date
    tasks: tuple[PlannedTask, ...]


@dataclass(frozen=True)
class BringPollen:
    """Pollen to be brought to blocks from ``day`` on, to each until a day of its own."""

    day: dt.date
    blocks: tuple[tuple[str, dt.date], ...]


@dataclass(frozen=True)
class RenewShoots:
    """Flowering shoots among blocks to be renewed on a day: of each block, from which others they can be cut."""

    day: dt.date
    shoots: tuple[tuple[str, tuple[str, ...]], ...]


ToDo = Walk | BringPollen | RenewShoots


def standing(block: BlockForecast, as_of: dt.date) -> Standing:
    """How a block's bloom stands on the morning of a day: by what was seen, else by medians."""
    start, end = block.stages.get("bloom_start"), _last_bloom_stage(block)
    if start is None or end is None or start.median is None:
        return "unknown"
    if end.median is not None and (end.median < as_of or _seen_by(end, as_of)):
        return "over"
    if _seen_by(start, as_of):
        return "in_bloom"
    if start.status == "overdue":
        return "due"
    if start.median < as_of:
        return "presumed"
    return "due" if (start.low or start.median) <= as_of + DUE_BEFORE else "to_come"


def season_state(
    blocks: Sequence[BlockForecast], pollen: Sequence[BlockPollination], as_of: dt.date
) -> SeasonState:
    """What there is to say of a season in a sentence."""
    by_standing: dict[Standing, list[str]] = {}
    for block in blocks:
        by_standing.setdefault(standing(block, as_of), []).append(block.block)
    starts = [
        (told.median, block.block, told)
        for block in blocks
        if standing(block, as_of) == "to_come" and (told := block.stages["bloom_start"]).median is not None
    ]
    first = min(starts, key=lambda start: start[:2], default=None)
    worst = {block.block: lack for block in pollen if (lack := lack_of(block)) is not None}
    lacking = {block: lack for block, lack in worst.items() if lack.level == "act"}
    first_days = sorted((_first_day(lack) or dt.date.max, block) for block, lack in lacking.items())
    return SeasonState(
        as_of=as_of,
        in_bloom=tuple(by_standing.get("in_bloom", ())),
        presumed=tuple(by_standing.get("presumed", ())),
        due=tuple(by_standing.get("due", ())),
        over=tuple(by_standing.get("over", ())),
        unknown=tuple(by_standing.get("unknown", ())),
        next=None if first is None else NextBloom(first[1], first[0], first[2].low, first[2].high),
        blocks=len(blocks),
        pistillate=len(pollen),
        lacking=tuple(lacking),
        perhaps=tuple(block for block in worst if block not in lacking),
        first_lack=FirstLack(first_days[0][1], _first_day(lacking[first_days[0][1]])) if first_days else None,
    )


def lack_of(block: BlockPollination) -> PollenWarning | None:
    """The worst warning that flowers of a block will open without pollen; None without one that is still to come."""
    told = (warning for warning in block.warnings if warning.code in LACKING and not warning.past)
    return next(told, None)


def week_ahead(plan: Plan, pollen: Sequence[BlockPollination], as_of: dt.date) -> tuple[ToDo, ...]:
    """What the seven days from ``as_of`` on ask for, by day; without a trip in them, the next one stands last."""
    until = as_of + A_WEEK
    walks = [Walk(trip.date, trip.tasks) for trip in plan.trips if trip.date < until]
    due: list[ToDo] = [*walks, *_pollen(pollen, until), *_renewals(pollen, until)]
    due.sort(key=lambda each: each.day)
    later = [Walk(trip.date, trip.tasks) for trip in plan.trips[:1]] if not walks else []
    return (*due, *later)


def _pollen(pollen: Sequence[BlockPollination], until: dt.date) -> Iterator[BringPollen]:
    by_day: dict[dt.date, list[tuple[str, dt.date]]] = {}
    for block in pollen:
        lack = lack_of(block)
        if lack is not None and lack.level == "act":
            for first, last in lack.ahead:
                if first < until:
                    by_day.setdefault(first, []).append((block.block, last))
    for day, blocks in by_day.items():
        yield BringPollen(day, tuple(blocks))


def _renewals(pollen: Sequence[BlockPollination], until: dt.date) -> Iterator[RenewShoots]:
    """Those after the first day of what there is to bring."""
    by_day: dict[dt.date, list[tuple[str, tuple[str, ...]]]] = {}
    for block in pollen:
        lack = lack_of(block)
        if lack is not None and lack.level == "act":
            begins = {first for first, _ in lack.ahead}
            for each in bouquets(lack):
                if each.renew and each.date < until and each.date not in begins:
                    cut_from = tuple(source.key for source in each.blocks)
                    by_day.setdefault(each.date, []).append((block.block, cut_from))
    for day, shoots in by_day.items():
        yield RenewShoots(day, tuple(shoots))


def _last_bloom_stage(block: BlockForecast) -> StageForecast | None:
    found = (block.stages.get(stage) for stage in ("bloom_end", "full_bloom", "bloom_start"))
    return next((stage for stage in found if stage is not None), None)


def _seen_by(stage: StageForecast, as_of: dt.date) -> bool:
    return stage.status == "observed" and stage.median is not None and stage.median <= as_of


def _first_day(lack: PollenWarning) -> dt.date | None:
    return lack.ahead[0][0] if lack.ahead else None
