"""Warnings about a block's pollen, and what to do. What to do is common practice, no source."""

from __future__ import annotations

from typing import assert_never

from models.units import feet_from_metres
from models.vineyard.pollen_warnings import (
    BloomNotForecast,
    BloomUnfinished,
    GapBetweenSources,
    MainSource,
    NoneViable,
    NoSourceInReach,
    OnlySource,
    PollenWarning,
    SourceEndsFirst,
    SourcesNotForecast,
    SourceStartsLate,
    WarningCode,
)
from models.vineyard.reach import NamedBlock
from service.words.plain import block_name, day_count, from_to, in_words, listed, percent, sentence

# In titles and lists.
SHORT: dict[WarningCode, str] = {
    "pollen_ends_early": "pollen ends early",
    "pollen_starts_late": "pollen starts late",
    "pollen_gap": "gap in the pollen",
    "no_pollen_source_in_reach": "no pollen source in reach",
    "single_pollen_source": "depends on one pollen source",
    "no_viable_pollen": "no viable pollen in reach",
    "unknown_bloom": "pollen cover not fully known",
}
_SECOND_SOURCE = (
    "Look whether it flowers and its pollen is good; a second self-fertile cultivar within reach that blooms with the "
    "block would make it safe."
)


def warning_words(warning: PollenWarning) -> str:
    """What is wrong, and what to do about it."""
    return f"{what_is_wrong(warning)} {what_to_do(warning)}"


def what_is_wrong(warning: PollenWarning) -> str:
    """What is wrong with the block's pollen, in one sentence."""
    name, expected = block_name(warning.block), "is expected to" if warning.level == "act" else "may"
    chance = percent(warning.chance)
    match warning.of:
        case SourceEndsFirst() as of:
            when = f"{expected} finish on {in_words(of.finish)}, {_apart(of.days_before, 'before', name)}"
            who = _who(of.source, of.of_sources, "last")
            return f"{who} {when}; {_loss(warning, of.lost_share)} ({chance} chance that it ends too early)."
        case SourceStartsLate() as of:
            if of.opening is not None:
                when = f"{expected} begin on {in_words(of.opening)}, {_apart(of.days_after, 'after', name)}"
            else:
                never = "is not expected to" if warning.level == "act" else "may not"
                when = f"{never} bloom within the season, while {name} does"
            who = _who(of.source, of.of_sources, "first")
            return f"{who} {when}; {_loss(warning, of.lost_share)} ({chance} chance that it starts too late)."
        case GapBetweenSources() as of:
            return (
                f"{sentence(name)} {expected} be without pollen in the middle of its bloom, after one source ends and "
                f"before the next begins; {_loss(warning, of.lost_share)} ({chance} chance of such a gap)."
            )
        case NoSourceInReach() as of:
            where = (
                "among the neighbours given for"
                if of.by_list
                else f"within {of.reach_m:g} m ({feet_from_metres(of.reach_m):.0f} ft) of"
            )
            return f"No pollen source stands {where} {name}: its flowers are pistillate and would stay without pollen."
        case NoneViable() as of:
            makers = listed([block_name(maker) for maker in of.makers])
            return f"In reach of {name} only {makers} could shed pollen, and it is recorded as not viable."
        case OnlySource() as of:
            return (
                f"{sentence(name)} depends on one pollen source, {block_name(of.source)}: should it fail, no pollen is "
                "left in reach."
            )
        case MainSource() as of:
            return (
                f"{sentence(name)} depends mostly on one pollen source, {block_name(of.source)}: the others in reach "
                f"bloom at other times, and should it fail, about {percent(of.lost_share)} of the bloom would lose its "
                "pollen."
            )
        case BloomNotForecast():
            return f"The bloom of {name} cannot be forecast, so its cover is not known."
        case BloomUnfinished():
            return (
                f"There is a {chance} chance that {name} does not finish its bloom within the season; the cover stated "
                "is that of the other cases."
            )
        case SourcesNotForecast() as of:
            sources = listed([block_name(source) for source in of.sources])
            effect = (
                "so its cover is not known"
                if of.all_of_them
                else "so the cover stated leaves it out and may be too low"
            )
            return f"In reach of {name} the bloom of {sources} cannot be forecast, {effect}."
        case of:
            assert_never(of)


def what_to_do(warning: PollenWarning) -> str:
    """What helps, now and in later years."""
    days = f" {from_to(*warning.days)}" if warning.days else ""
    shoots = (
        f"Place flowering shoots of a self-fertile cultivar in water among {warning.block.key}'s vines{days}"
    )
    potted = f"{shoots}, or set potted self-fertile vines there; for later years interplant a self-fertile cultivar"
    match warning.of:
        case SourceEndsFirst():
            return f"{potted} that blooms later."
        case SourceStartsLate():
            return f"{potted} that blooms earlier."
        case GapBetweenSources():
            return f"{shoots}."
        case NoSourceInReach():
            return f"{shoots}, or interplant a self-fertile cultivar that blooms with it."
        case NoneViable():
            return (
                "Check that record; if it holds, place flowering shoots of another self-fertile cultivar in "
                f"water{days}, or interplant one with viable pollen."
            )
        case OnlySource() | MainSource():
            return _SECOND_SOURCE
        case BloomNotForecast():
            return "Record bloom dates or visits of it, or take over a fit that knows its cultivar."
        case BloomUnfinished():
            return "Look at it late in the season, and record what you see."
        case SourcesNotForecast():
            return "Record bloom dates or visits there, or take over a fit that knows the cultivar."
        case of:
            assert_never(of)


def _apart(days: int, order: str, name: str) -> str:
    return f"{day_count(days)} {order} {name}" if days else f"on the same day as {name}"


def _loss(warning: PollenWarning, share: float) -> str:
    return f"about {percent(share)} of {warning.block.key}'s bloom would open without pollen"


def _who(source: NamedBlock, of_sources: int, place: str) -> str:
    """The source, and that it is the last or the first of several."""
    name = sentence(block_name(source))
    return name if of_sources == 1 else f"{name}, the {place} of {of_sources} pollen sources in reach,"
