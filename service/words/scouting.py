"""Scouting tasks: their names, what to look for and why, and why a task is on no trip.

What to look for and why, and how to estimate, is common practice, no source.
"""

from __future__ import annotations

from typing import assert_never

from models.records import FlowerType, Visit
from models.vineyard.scouting import (
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
from service.words.forecast import exact_stage
from service.words.language import N_, _, ngettext
from service.words.plain import WEEKDAYS, block_name, from_to, in_words, listed, percent, weekday_name

TASK_NAMES: dict[TaskKind, str] = {
    "flower_count": N_("flower count"),
    "first_caps": N_("first caps"),
    "flower_type": N_("flower type"),
    "pollen_overlap": N_("pollen overlap"),
    "set_count": N_("set count"),
    "crop_load": N_("crop load"),
    "ripeness": N_("ripeness"),
}
FLOWER_TYPES: dict[FlowerType, str] = {
    FlowerType.PISTILLATE: N_("pistillate"),
    FlowerType.PERFECT: N_("self-fertile"),
    FlowerType.STAMINATE: N_("staminate"),
}
MOST_SOURCES_NAMED = 4
HOW_TO_ESTIMATE = (
    N_(
        "Take five vines of the block, the ends and the middle of the row among them; not only those near the path."
    ),
    N_("On each vine look at two shoots, one on either side of the row."),
    N_(
        "On each shoot take one whole cluster, and compare it with the drawings: how many of its caps are off?"
    ),
    N_("Record the mean of the ten clusters. Caps still on the flower count as not yet, brown ones too."),
    N_("Go at the same time of day and take the same vines each time, so that the numbers can be compared."),
)


def how_to_estimate() -> list[str]:
    """The steps by which caps are estimated, the same by everybody."""
    return [_(step) for step in HOW_TO_ESTIMATE]


def flower_words(flower_type: FlowerType) -> str:
    """A flower type as in "self-fertile"."""
    return _(FLOWER_TYPES[flower_type])


def task_name(task: TaskKind) -> str:
    """A task as in "first caps"."""
    return _(TASK_NAMES[task])


def visit_words(visit: Visit) -> str:
    """What a visit found."""
    if visit.percent_open is not None:
        return _("{percent} % of caps off", percent=f"{visit.percent_open:g}")
    return f"BBCH {visit.bbch}"


def look_for(look: Look) -> str:
    """What to look for."""
    match look:
        case FlowerCount():
            return _(
                "Clusters before their caps fall. Mark a few on several vines, and write down how many flowers each "
                "has."
            )
        case FirstCaps():
            return _(
                "The first caps on the ground or falling. Look near the base of this year's shoots, from the second to "
                "the fifth node: flowers there are the oldest. Note how many per cent of the caps are off."
            )
        case FlowerTypeCheck():
            return _(
                "Newly opened flowers. Tall, straight stamens with yellow pollen: self-fertile or male. Short stamens "
                "that curl back: pistillate."
            )
        case PollenOverlap():
            more = len(look.sources) - MOST_SOURCES_NAMED
            names = [block_name(source) for source in look.sources[:MOST_SOURCES_NAMED]]
            names += [_("{more} more", more=more)] if more > 0 else []
            return _(
                "With this block at mid bloom, fresh anthers with pollen in {sources}, and insects that fly from there "
                "to here.",
                sources=listed(names),
            )
        case SetCount():
            return _(
                "On the clusters marked before bloom, how many flowers have become berries: set is the berries over "
                "the flowers counted then. Without that count, only berries a cluster can be told. A young berry has a "
                "brown speck where the stigma was; a bud that is still closed is smooth and green."
            )
        case CropLoad():
            return _(
                "Clusters on ten canes (this year's shoots) of several vines, and berries on them. How many a vine can "
                "ripen differs by cultivar, and no published rule is known here: ask the local extension office. "
                "Thinning by hand and fewer spurs next winter are things to try."
            )
        case Ripeness():
            return _(
                "Colour, softness and taste of berries from several vines, sun and shade side; sugar by refractometer, "
                "where you sell by it."
            )
    assert_never(look)


def why_look(look: Look) -> str:
    """What the look is good for."""
    match look:
        case FlowerCount():
            return _(
                "A count of berries after bloom says how much has set only beside the flowers that were there."
            )
        case FirstCaps():
            return _("It dates the start of bloom, and makes the forecast of every block sharper.")
        case FlowerTypeCheck():
            return _(
                "It checks that the vines are {flower_type}, as recorded. Late in bloom nobody can tell: a "
                "self-fertile flower that has lost its anthers looks pistillate.",
                flower_type=flower_words(look.recorded),
            )
        case PollenOverlap():
            return _("The block's flowers are pistillate: without pollen from there, they do not set.")
        case SetCount():
            return _("It shows whether there was enough pollen, while the season's dates are still in mind.")
        case CropLoad(self_fertile, berry_mass_g):
            said = _(
                "Vines of some cultivars, pistillate ones among them, set more than they can ripen, which weakens them "
                "for the next year."
            )
            if not self_fertile:
                return said
            if berry_mass_g is None:
                first = _(
                    "Self-fertile ones that set much and have large berries come first: common practice."
                )
            else:
                first = _(
                    "Self-fertile ones that set much and have large berries (here {mass} g) come first: common "
                    "practice.",
                    mass=f"{berry_mass_g:g}",
                )
            return f"{said} {first}"
        case Ripeness():
            return _(
                "The forecast harvest follows heat alone: crop, water and leaves move it, so taste before you pick."
            )
    assert_never(look)


def why_missed(task: MissedTask) -> str:
    """Why a task is on no trip, and its best day where one is left."""
    match task.missed:
        case NoDate(lacking):
            stages = listed([exact_stage(stage) for stage in lacking])
            return _("Its days are not known, as the fit does not know {stages}.", stages=stages)
        case TooLate():
            assert task.window is not None
            days = from_to(task.window.first_day, task.window.last_day)
            return _("Too late this season: its days are over ({days}).", days=days)
        case TooFewTrips(max_trips):
            return ngettext(
                "{count} trip leaves no day for it; its best day is {day}.",
                "{count} trips leave no day for it; its best day is {day}.",
                max_trips,
                day=_best_day(task),
            )
        case WrongWeekdays(first_day, last_day, weekdays):
            return _(
                "The days left for it ({days}) hold no {weekdays}; its best day is {day}.",
                days=from_to(first_day, last_day),
                weekdays=_(" or ").join(_(WEEKDAYS[weekday]) for weekday in weekdays),
                day=_best_day(task),
            )
        case missed:
            assert_never(missed)


def best_look_words(best: BestLook) -> str:
    """Where a look today teaches most, and what."""
    return _(
        "Best look now: {block}. It {narrows}.", block=best.block, narrows=narrows_words(best.narrows_days)
    )


def narrows_words(days: float) -> str:
    """What a look teaches, as part of a sentence."""
    return _("narrows the bloom windows by about {days} days on average", days=f"{days:.1f}")


def _best_day(task: MissedTask) -> str:
    assert task.best_day is not None
    assert task.best_chance is not None
    return _(
        "{weekday} {date} ({chance} chance that it is the right time)",
        weekday=weekday_name(task.best_day),
        date=in_words(task.best_day),
        chance=percent(task.best_chance),
    )
