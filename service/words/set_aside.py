"""Why an observation is not used."""

from __future__ import annotations

import datetime as dt
from typing import assert_never

from models.bloom.set_aside import (
    BeforeHeat,
    DaysMissing,
    DaysUnknown,
    FarFromOthers,
    NoOtherSeason,
    NotEnclosed,
    OutOfOrder,
    SetAside,
    WhySetAside,
)
from service.words.plain import day_count


def why_set_aside(slip: SetAside) -> str:
    """Why, as part of a sentence."""
    match slip.why:
        case str() as text:
            return text
        case OutOfOrder() as why:
            first, other = _seen(why.day, why.had_come), _seen(why.other_day, why.other_had_come)
            return f"{slip.stage} {first} is out of order with {why.other_stage} {other}"
        case BeforeHeat(heat_from):
            return f"falls before the sum of heat starts on {heat_from}"
        case DaysMissing(days, first_day, last_day):
            return f"{day_count(days)} without temperatures between {first_day} and {last_day}"
        case DaysUnknown(day):
            return f"temperatures are missing before {day}, and no other year has those days"
        case NotEnclosed():
            return "no block has a look before it and one after it, so its threshold has no bound"
        case FarFromOthers(days_later):
            order = "later" if days_later > 0 else "earlier"
            return f"about {abs(days_later):.0f} days {order} than its cultivar and season say"
        case NoOtherSeason(cultivar):
            return f"no other season of {cultivar}"
        case why:
            assert_never(why)


def why_alike(why: WhySetAside | str) -> str:
    """Why, as part of a sentence, for several observations: without the days and numbers in which they differ."""
    match why:
        case str():
            return why
        case OutOfOrder():
            return "out of order with another stage"
        case BeforeHeat():
            return "before the sum of heat starts"
        case DaysMissing():
            return "too many days without temperatures"
        case DaysUnknown():
            return "temperatures are missing, and no other year has those days"
        case NotEnclosed():
            return "no block has a look before them and one after"
        case FarFromOthers():
            return "far from what their cultivar and season say"
        case NoOtherSeason(cultivar):
            return f"no other season of {cultivar}"
    assert_never(why)


def set_aside_words(slip: SetAside | str) -> str:
    """Which observation, and why, as in "2021 b1 full_bloom: ..."; a whole season has neither block nor stage.

    Documents that were made before reasons had codes hold the text itself.
    """
    if isinstance(slip, str):
        return slip
    name = " ".join(part for part in (str(slip.season), slip.block, slip.stage) if part)
    return f"{name}: {why_set_aside(slip)}"


def _seen(day: dt.date, had_come: bool) -> str:
    return f"on {day}" if had_come else f"not yet on {day}"
