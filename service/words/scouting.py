"""Scouting tasks: their names, what to look for and why, and why a task is on no trip.

What to look for and why, and how to estimate, is common practice, no source.
"""

from __future__ import annotations

import datetime as dt
from typing import assert_never

from models.records import FlowerType, Visit
from models.vineyard.scouting import (
    WEEKDAY_NAMES,
    BestLook,
    MissedTask,
    NoDate,
    TooFewTrips,
    TooLate,
    WrongWeekdays,
)
from models.vineyard.scouting_tasks import (
    CropLoad,
    FirstCaps,
    FlowerCount,
    FlowerTypeCheck,
    Look,
    PollenOverlap,
    Ripeness,
    SetCount,
    TaskKind,
)
from service.words.plain import block_name, from_to, in_words, listed, percent

TASK_NAMES: dict[TaskKind, str] = {
    "flower_count": "flower count",
    "first_caps": "first caps",
    "flower_type": "flower type",
    "pollen_overlap": "pollen overlap",
    "set_count": "set count",
    "crop_load": "crop load",
    "ripeness": "ripeness",
}
MOST_SOURCES_NAMED = 4
HOW_TO_ESTIMATE = (
    "Take five vines of the block, the ends and the middle of the row among them; not only those near the path.",
    "On each vine look at two shoots, one on either side of the row.",
    "On each shoot take one whole cluster, and compare it with the drawings: how many of its caps are off?",
    "Record the mean of the ten clusters. Caps still on the flower count as not yet, brown ones too.",
    "Go at the same time of day and take the same vines each time, so that the numbers can be compared.",
)


def visit_words(visit: Visit) -> str:
    """What a visit found."""
    if visit.percent_open is not None:
        return f"{visit.percent_open:g} % of caps off"
    return f"BBCH {visit.bbch}"


def look_for(look: Look) -> str:
    """What to look for."""
    match look:
        case FlowerCount():
            return (
                "Clusters before their caps fall. Mark a few on several vines, and write down how many flowers each "
                "has."
            )
        case FirstCaps():
            return (
                "The first caps on the ground or falling. Look near the base of this year's shoots, from the second to "
                "the fifth node: flowers there are the oldest. Note how many per cent of the caps are off."
            )
        case FlowerTypeCheck():
            return (
                "Newly opened flowers. Tall, straight stamens with yellow pollen: self-fertile or male. Short stamens "
                "that curl back: pistillate."
            )
        case PollenOverlap():
            more = len(look.sources) - MOST_SOURCES_NAMED
            names = [block_name(source) for source in look.sources[:MOST_SOURCES_NAMED]]
            names += [f"{more} more"] if more > 0 else []
            return (
                f"With this block at mid bloom, fresh anthers with pollen in {listed(names)}, and insects that fly "
                "from there to here."
            )
        case SetCount():
            return (
                "On the clusters marked before bloom, how many flowers have become berries: set is the berries over "
                "the flowers counted then. Without that count, only berries a cluster can be told. A young berry has a "
                "brown speck where the stigma was; a bud that is still closed is smooth and green."
            )
        case CropLoad():
            return (
                "Clusters on ten canes (this year's shoots) of several vines, and berries on them. How many a vine can "
                "ripen differs by cultivar, and no "
                "published rule is known here: ask the local extension office. Thinning by hand and fewer spurs next "
                "winter are things to try."
            )
        case Ripeness():
            return (
                "Colour, softness and taste of berries from several vines, sun and shade side; sugar by refractometer, "
                "where you sell by it."
            )
    assert_never(look)


def why_look(look: Look) -> str:
    """What the look is good for."""
    match look:
        case FlowerCount():
            return "A count of berries after bloom says how much has set only beside the flowers that were there."
        case FirstCaps():
            return "It dates the start of bloom, and makes the forecast of every block sharper."
        case FlowerTypeCheck():
            kind = "self-fertile" if look.recorded is FlowerType.PERFECT else str(look.recorded)
            return (
                f"It checks that the vines are {kind}, as recorded. Late in bloom nobody can tell: a self-fertile "
                "flower that has lost its anthers looks pistillate."
            )
        case PollenOverlap():
            return "The block's flowers are pistillate: without pollen from there, they do not set."
        case SetCount():
            return "It shows whether there was enough pollen, while the season's dates are still in mind."
        case CropLoad(self_fertile, berry_mass_g):
            first = ""
            if self_fertile:
                mass = "" if berry_mass_g is None else f" (here {berry_mass_g:g} g)"
                first = f" Self-fertile ones that set much and have large berries{mass} come first: common practice."
            return (
                "Vines of some cultivars, pistillate ones among them, set more than they can ripen, which weakens them "
                f"for the next year.{first}"
            )
        case Ripeness():
            return "The forecast harvest follows heat alone: crop, water and leaves move it, so taste before you pick."
    assert_never(look)


def why_missed(task: MissedTask) -> str:
    """Why a task is on no trip, and its best day where one is left."""
    match task.missed:
        case NoDate(lacking):
            return f"Its days are not known, as the fit does not know {listed(lacking)}."
        case TooLate():
            assert task.window is not None
            days = from_to(task.window.first_day, task.window.last_day)
            return f"Too late this season: its days are over ({days})."
        case TooFewTrips(max_trips):
            trips = "1 trip leaves" if max_trips == 1 else f"{max_trips} trips leave"
            return f"{trips} no day for it; its best day is {_best_day(task)}."
        case WrongWeekdays(first_day, last_day, weekdays):
            names = " or ".join(WEEKDAY_NAMES[weekday] for weekday in weekdays)
            days = from_to(first_day, last_day)
            return f"The days left for it ({days}) hold no {names}; its best day is {_best_day(task)}."
        case missed:
            assert_never(missed)


def best_look_words(best: BestLook) -> str:
    """Where a look today teaches most, and what."""
    return f"Best look now: {best.block}. It {narrows_words(best.narrows_days)}."


def narrows_words(days: float) -> str:
    """What a look teaches, as part of a sentence."""
    return f"narrows the bloom windows by about {days:.1f} days on average"


def weekday_name(day: dt.date) -> str:
    """The weekday of a date."""
    return WEEKDAY_NAMES[day.weekday()]


def _best_day(task: MissedTask) -> str:
    assert task.best_day is not None
    assert task.best_chance is not None
    chance = f"({percent(task.best_chance)} chance that it is the right time)"
    return f"{weekday_name(task.best_day)} {in_words(task.best_day)} {chance}"
