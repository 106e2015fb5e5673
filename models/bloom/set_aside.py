"""Observations that are not used, and why, as codes with what they tell. Sentences are made elsewhere."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from models.errors import NotEnoughData


@dataclass(frozen=True)
class OutOfOrder:
    """Seen on ``day`` (or "not yet": ``had_come`` False), against the season order of another stage."""

    day: dt.date
    had_come: bool
    other_stage: str
    other_day: dt.date
    other_had_come: bool
    code: Literal["out_of_order"] = "out_of_order"


@dataclass(frozen=True)
class BeforeHeat:
    """It falls before the sum of heat starts."""

    heat_from: dt.date
    code: Literal["before_heat"] = "before_heat"


@dataclass(frozen=True)
class DaysMissing:
    """Too many days without temperatures from ``first_day`` to ``last_day``. [day]"""

    days: int
    first_day: dt.date
    last_day: dt.date
    code: Literal["days_missing"] = "days_missing"


@dataclass(frozen=True)
class DaysUnknown:
    """Days before ``day`` have no temperatures in any year."""

    day: dt.date
    code: Literal["days_unknown"] = "days_unknown"


@dataclass(frozen=True)
class NotEnclosed:
    """No block has a look before the stage and one after it, so its threshold has no bound."""

    code: Literal["not_enclosed"] = "not_enclosed"


@dataclass(frozen=True)
class FarFromOthers:
    """So many days later (earlier, where negative) than its cultivar and season say. [day]"""

    days_later: float
    code: Literal["far_from_others"] = "far_from_others"


@dataclass(frozen=True)
class NoOtherSeason:
    """No other season knows its cultivar."""

    cultivar: str
    code: Literal["no_other_season"] = "no_other_season"


WhySetAside = (
    OutOfOrder | BeforeHeat | DaysMissing | DaysUnknown | NotEnclosed | FarFromOthers | NoOtherSeason
)


@dataclass(frozen=True)
class SetAside:
    """An observation that is not used, and why: a text where a document was made before reasons had codes."""

    season: int
    block: str
    stage: str
    why: WhySetAside | str


def in_order(slips: Iterable[SetAside]) -> tuple[SetAside, ...]:
    """Always the same order of the same slips."""
    return tuple(sorted(slips, key=lambda slip: (slip.season, slip.block, slip.stage, repr(slip.why))))


class NothingToFit(NotEnoughData):
    """No observation is left; ``set_aside`` says what became of those that there were."""

    def __init__(self, message: str, set_aside: Sequence[SetAside]) -> None:
        super().__init__(message)
        self.set_aside = tuple(set_aside)
