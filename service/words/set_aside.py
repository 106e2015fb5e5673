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
from service.words.forecast import exact_stage
from service.words.language import _
from service.words.plain import day_count, exact_date


def why_set_aside(slip: SetAside) -> str:
    """Why, as part of a sentence."""
    match slip.why:
        case str() as text:
            return text
        case OutOfOrder() as why:
            return _(
                "{stage} {seen} is out of order with {other_stage} {other_seen}",
                stage=exact_stage(slip.stage or ""),
                seen=_seen(why.day, why.had_come),
                other_stage=exact_stage(why.other_stage),
                other_seen=_seen(why.other_day, why.other_had_come),
            )
        case BeforeHeat(heat_from):
            return _("falls before the sum of heat starts on {date}", date=exact_date(heat_from))
        case DaysMissing(days, first_day, last_day):
            return _(
                "{days} without temperatures between {first} and {last}",
                days=day_count(days),
                first=exact_date(first_day),
                last=exact_date(last_day),
            )
        case DaysUnknown(day):
            return _(
                "temperatures are missing before {date}, and no other year has those days",
                date=exact_date(day),
            )
        case NotEnclosed():
            return _("no block has a look before it and one after it, so its threshold has no bound")
        case FarFromOthers(days_later):
            off = f"{abs(days_later):.0f}"
            if days_later > 0:
                return _("about {days} days later than its cultivar and season say", days=off)
            return _("about {days} days earlier than its cultivar and season say", days=off)
        case NoOtherSeason(cultivar):
            return _("no other season of {cultivar}", cultivar=cultivar)
        case why:
            assert_never(why)


def why_alike(why: WhySetAside | str) -> str:
    """Why, as part of a sentence, for several observations: without the days and numbers in which they differ."""
    match why:
        case str():
            return why
        case OutOfOrder():
            return _("out of order with another stage")
        case BeforeHeat():
            return _("before the sum of heat starts")
        case DaysMissing():
            return _("too many days without temperatures")
        case DaysUnknown():
            return _("temperatures are missing, and no other year has those days")
        case NotEnclosed():
            return _("no block has a look before them and one after")
        case FarFromOthers():
            return _("far from what their cultivar and season say")
        case NoOtherSeason(cultivar):
            return _("no other season of {cultivar}", cultivar=cultivar)
    assert_never(why)


def set_aside_words(slip: SetAside | str) -> str:
    """Which observation, and why, as in "2021 b1 full_bloom: ..."; a whole season has neither block nor stage.

    Documents that were made before reasons had codes hold the text itself.
    """
    if isinstance(slip, str):
        return slip
    name = " ".join(
        part for part in (str(slip.season), slip.block, slip.stage and exact_stage(slip.stage)) if part
    )
    return f"{name}: {why_set_aside(slip)}"


def _seen(day: dt.date, had_come: bool) -> str:
    return _("on {date}", date=exact_date(day)) if had_come else _("not yet on {date}", date=exact_date(day))
