"""A layout that was searched, as a grower reads it."""

from __future__ import annotations

from models.vineyard.layout import Layout, LayoutStep, Recomputed
from models.vineyard.vine_changes import VineChange
from service.words.language import _, ngettext
from service.words.plain import listed


def vine_count(vines: int) -> str:
    """A number of vines as in "1 vine", "4 vines"."""
    return ngettext("{count} vine", "{count} vines", vines)


def season_words(step: LayoutStep, seasons: int) -> str:
    """What a step reaches, as in "9 of 10 past seasons"."""
    if not seasons:
        return _("a source in reach of every pistillate vine")
    if step.seasons == seasons:
        return _("all {seasons} past seasons", seasons=seasons)
    return _("{some} of {seasons} past seasons", some=step.seasons, seasons=seasons)


def step_words(step: LayoutStep, seasons: int) -> str:
    """A step and its price, as in "6 vines: 9 of 10 past seasons"."""
    reached = season_words(step, seasons)
    match step.found.found:
        case "impossible":
            return _("No planting of these cultivars in these places reaches {goal}.", goal=reached)
        case "unknown":
            return _("Time ran out before any planting was found that reaches {goal}.", goal=reached)
        case "fewest" | "not_proven":
            vines = step.found.vines or 0
            said = _("As it stands: {goal}.", goal=reached)
            if vines:
                said = _("{vines} changed: {goal}.", vines=vine_count(vines), goal=reached)
            if step.found.found == "not_proven":
                least = vine_count(step.found.at_least)
                said += " " + _("Time ran out; {vines} at least are needed.", vines=least)
            return said


def change_words(change: VineChange) -> str:
    """One place to change, as in "row 3, vine 7: Dewlight to Early Wick" with keys for names."""
    if change.vines == 1:
        where = _("{block}, vine {vine}", block=change.block, vine=change.vine)
    else:
        where = _("{block}, {count} vines", block=change.block, count=change.vines)
    old = _("empty") if change.old is None else change.old
    return _("{where}: {old} to {new}", where=where, old=old, new=change.new)


def recomputed_words(found: Recomputed) -> str:
    """What the new planting was worth, computed anew."""
    if found.vines_without_source:
        return _(
            "{cultivar}: {vines} of {all} have no source in reach.",
            cultivar=found.cultivar,
            vines=vine_count(found.vines_without_source),
            all=found.vines,
        )
    if found.seasons_covered is None:
        return _("{cultivar}: every vine has a source in reach; cover is not known.", cultivar=found.cultivar)
    return _(
        "{cultivar}: its worst vine of {vines} was covered in {covered} of {seasons} past seasons.",
        cultivar=found.cultivar,
        vines=found.vines,
        covered=found.seasons_covered,
        seasons=found.seasons,
    )


def spare_words(spare: str) -> str:
    """What may fail without harm."""
    return {
        "none": "",
        "vine": _("It holds should any one source vine give nothing."),
        "cultivar": _("It holds should any one source cultivar give nothing."),
    }[spare]


def only_reach_words(found: Layout) -> str | None:
    """Which cultivars were given a source in reach only."""
    if not found.only_reach:
        return None
    return _(
        "When {cultivars} bloomed in past seasons is not known: they were given a source in reach, whenever it blooms.",
        cultivars=listed(found.only_reach),
    )
