"""A season looked back on: what was told when, what came, and which warnings were right."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from models.records import StageInterval
from models.vineyard.pollen_warnings import ACT, WATCH, WarningCode, WarningLevel
from models.vineyard.told import Told

# Days before a stage came, at which it is shown what was told. Our convention.
LEADS = (42, 28, 14, 7, 1)
# Warnings about time come true or not; those about what stands where are no forecasts.
TIMED: tuple[WarningCode, ...] = ("pollen_ends_early", "pollen_starts_late", "pollen_gap")

Verdict = Literal["came", "did_not_come", "unclear", "not_seen", "missed"]


@dataclass(frozen=True)
class Foretold:
    """What was told of a stage ``lead`` days before it came, or on the last day before that; ``off_days`` late."""

    lead: int
    told_on: dt.date
    median: dt.date
    low: dt.date
    high: dt.date
    off_days: int
    inside: bool


@dataclass(frozen=True)
class StageReview:
    """One stage of one block: when it came, and what was told of it before."""

    block: str
    stage: str
    came: dt.date
    foretold: tuple[Foretold, ...]


@dataclass(frozen=True)
class WarningReview:
    """One warning about time: when it was told, how urgently, and whether it came true.

    ``chance`` is what is known of it after the season. "missed" was never told, and came; "not_seen": nobody saw the
    block bloom, so nobody knows.
    """

    block: str
    code: WarningCode
    first_told: dt.date | None
    last_told: dt.date | None
    level: WarningLevel | None
    highest_chance: float | None
    chance: float
    verdict: Verdict


@dataclass(frozen=True)
class SeasonReview:
    """What was told and what came.

    ``days_told`` are those that the review rests on; ``bias`` (late is above 0) and ``inside`` (the share of dates
    within their interval) by lead. [day]
    """

    season: int
    days_told: tuple[dt.date, ...]
    stages: tuple[StageReview, ...]
    warnings: tuple[WarningReview, ...]
    by_lead: tuple[LeadSummary, ...]


@dataclass(frozen=True)
class LeadSummary:
    """All stages at one lead: how many, mean error, mean absolute error, share within the interval. [day]"""

    lead: int
    stages: int
    bias: float
    mean_absolute_error: float
    inside: float


def came_of(seen: Sequence[StageInterval], season: int) -> dict[tuple[str, str], dt.date]:
    """When each block reached each stage: the middle of the days between which it was seen to come.

    What had come at the first look is left out: nobody knows when.
    """
    return {
        (each.block, each.stage): each.after + dt.timedelta(days=((each.by - each.after).days + 1) // 2)
        for each in seen
        if each.season == season and each.block is not None and each.after is not None and each.by is not None
    }


def season_review(told: Sequence[Told], after: Told, came: Mapping[tuple[str, str], dt.date]) -> SeasonReview:
    """Compare what was told day by day with what is known after the season.

    Parameters
    ----------
    told : sequence of Told
        By day, all of one season.
    after : Told
        Of the season's last day, or of today.
    came : mapping
        When stages came, by block and stage.
    """
    stages = tuple(
        StageReview(*key, day, tuple(_foretold(told, key, day))) for key, day in sorted(came.items())
    )
    return SeasonReview(
        after.season,
        tuple(each.day for each in told),
        stages,
        tuple(_warnings(told, after, {block for block, _ in came})),
        tuple(_by_lead(stages)),
    )


def _foretold(told: Sequence[Told], key: tuple[str, str], came: dt.date) -> list[Foretold]:
    found: list[Foretold] = []
    for lead in LEADS:
        before = [each for each in told if each.day <= came - dt.timedelta(days=lead) and key in each.stages]
        if not before:
            continue
        last = before[-1]
        stage = last.stages[key]
        if stage.median is None or stage.low is None or stage.high is None:
            continue
        if found and found[-1].told_on == last.day:
            continue
        off = (stage.median - came).days
        inside = stage.low <= came <= stage.high
        found.append(Foretold(lead, last.day, stage.median, stage.low, stage.high, off, inside))
    return found


def _warnings(told: Sequence[Told], after: Told, seen: set[str]) -> list[WarningReview]:
    said: dict[tuple[str, WarningCode], list[tuple[dt.date, WarningLevel, float]]] = {}
    for day in told:
        for key, warning in day.warnings.items():
            if key[1] in TIMED and not warning.past:
                said.setdefault(key, []).append((day.day, warning.level, warning.chance))
    now = {key: warning.chance for key, warning in after.warnings.items() if key[1] in TIMED}
    missed = [
        key
        for key, warning in after.warnings.items()
        if key in now and key not in said and warning.chance >= ACT and key[0] in seen
        # that nothing at all was told in time is no miss
        if any(day.day <= last for day in told for _, last in warning.spans)
    ]
    reviews = []
    for key, days in said.items():
        chance = now.get(key, 0.0)
        level: WarningLevel = "act" if any(level == "act" for _, level, _ in days) else "watch"
        reviews.append(
            WarningReview(
                *key,
                days[0][0],
                days[-1][0],
                level,
                max(chance for _, _, chance in days),
                chance,
                _verdict(chance) if key[0] in seen else "not_seen",
            )
        )
    reviews += [WarningReview(*key, None, None, None, None, now[key], "missed") for key in missed]
    return reviews


def _verdict(chance: float) -> Verdict:
    if chance >= ACT:
        return "came"
    return "did_not_come" if chance < WATCH else "unclear"


def _by_lead(stages: Sequence[StageReview]) -> list[LeadSummary]:
    found = []
    for lead in LEADS:
        at = [each for stage in stages for each in stage.foretold if each.lead == lead]
        if at:
            found.append(
                LeadSummary(
                    lead,
                    len(at),
                    sum(each.off_days for each in at) / len(at),
                    sum(abs(each.off_days) for each in at) / len(at),
                    sum(each.inside for each in at) / len(at),
                )
            )
    return found


def share_right(warnings: Sequence[WarningReview]) -> Mapping[Verdict, int]:
    """How many warnings went each way."""
    verdicts: tuple[Verdict, ...] = ("came", "did_not_come", "unclear", "not_seen", "missed")
    return {verdict: sum(each.verdict == verdict for each in warnings) for verdict in verdicts}
