"""A layout that was searched, as a grower reads it."""

from __future__ import annotations

from models.vineyard.layout import Layout, LayoutStep, Recomputed
from models.vineyard.vine_changes import VineChange
from service.words.plain import listed


def vine_count(vines: int) -> str:
    """A number of vines as in "1 vine", "4 vines"."""
    return f"{vines} vine" if vines == 1 else f"{vines} vines"


def season_words(step: LayoutStep, seasons: int) -> str:
    """What a step reaches, as in "9 of 10 past seasons"."""
    if not seasons:
        return "a source in reach of every pistillate vine"
    if step.seasons == seasons:
        return f"all {seasons} past seasons"
    return f"{step.seasons} of {seasons} past seasons"


def step_words(step: LayoutStep, seasons: int) -> str:
    """A step and its price, as in "6 vines: 9 of 10 past seasons"."""
    reached = season_words(step, seasons)
    match step.found.found:
        case "impossible":
            return f"No planting of these cultivars in these places reaches {reached}."
        case "unknown":
            return f"Time ran out before any planting was found that reaches {reached}."
        case "fewest" | "not_proven":
            vines = step.found.vines or 0
            said = f"{vine_count(vines)} changed: {reached}." if vines else f"As it stands: {reached}."
            if step.found.found == "not_proven":
                said += f" Time ran out; {vine_count(step.found.at_least)} at least are needed."
            return said


def change_words(change: VineChange) -> str:
    """One place to change, as in "row 3, vine 7: Dewlight to Early Wick" with keys for names."""
    where = (
        f"{change.block}, vine {change.vine}"
        if change.vines == 1
        else f"{change.block}, {change.vines} vines"
    )
    return f"{where}: {'empty' if change.old is None else change.old} to {change.new}"


def recomputed_words(found: Recomputed) -> str:
    """What the new planting was worth, computed anew."""
    if found.vines_without_source:
        return f"{found.cultivar}: {vine_count(found.vines_without_source)} of {found.vines} have no source in reach."
    if found.seasons_covered is None:
        return f"{found.cultivar}: every vine has a source in reach; cover is not known."
    return (
        f"{found.cultivar}: its worst vine of {found.vines} was covered in {found.seasons_covered} of "
        f"{found.seasons} past seasons."
    )


def spare_words(spare: str) -> str:
    """What may fail without harm."""
    return {
        "none": "",
        "vine": "It holds should any one source vine give nothing.",
        "cultivar": "It holds should any one source cultivar give nothing.",
    }[spare]


def only_reach_words(found: Layout) -> str | None:
    """Which cultivars were given a source in reach only."""
    if not found.only_reach:
        return None
    return (
        f"When {listed(found.only_reach)} bloomed in past seasons is not known: they were given a source in reach, "
        "whenever it blooms."
    )
