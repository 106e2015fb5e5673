"""Warnings about a block's pollen."""

from __future__ import annotations

from dataclasses import replace
from typing import assert_never

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
    SourcesFrosted,
    SourcesFrostedInPart,
    SourcesNotForecast,
    SourceStartsLate,
    VinesOutOfReach,
    WarningCode,
    WarningLevel,
)
from models.vineyard.reach import NamedBlock
from service.words.forecast import exact_stage
from service.words.language import N_, _, ngettext
from service.words.plain import (
    block_name,
    day_count,
    in_words,
    length_words,
    listed,
    percent,
    sentence,
)
from service.words.pollen_remedies import what_to_do

# In titles and lists.
SHORT: dict[WarningCode, str] = {
    "pollen_ends_early": N_("pollen ends early"),
    "pollen_starts_late": N_("pollen starts late"),
    "pollen_gap": N_("gap in the pollen"),
    "no_pollen_source_in_reach": N_("no pollen source in reach"),
    "single_pollen_source": N_("depends on one pollen source"),
    "no_viable_pollen": N_("no viable pollen in reach"),
    "unknown_bloom": N_("pollen cover not fully known"),
}
LEVELS: dict[WarningLevel, str] = {"watch": N_("watch"), "act": N_("act")}


def short_warning(code: WarningCode) -> str:
    """A warning in titles and lists."""
    return _(SHORT[code])


def level_words(level: WarningLevel) -> str:
    """How grave a warning is."""
    return _(LEVELS[level])


def warning_words(warning: PollenWarning) -> str:
    """What is wrong, and what to do about it."""
    return f"{what_is_wrong(warning)} {what_to_do(warning)}"


def what_is_wrong(warning: PollenWarning) -> str:
    """What is wrong with the block's pollen, or was, in one sentence."""
    if warning.past:
        return _what_was_wrong(warning)
    name, act, chance = block_name(warning.block), warning.level == "act", percent(warning.chance)
    match warning.of:
        case SourceEndsFirst() as of:
            said = (
                N_(
                    "{source} is expected to finish on {date}, {apart}; {loss} ({chance} chance that it ends too "
                    "early)."
                )
                if act
                else N_(
                    "{source} may finish on {date}, {apart}; {loss} ({chance} chance that it ends too early)."
                )
            )
            return _(
                said,
                source=_last_source(of.source, of.of_sources),
                date=in_words(of.finish),
                apart=_before(of.days_before, name),
                loss=_loss(warning, of.lost_share),
                chance=chance,
            )
        case SourceStartsLate() as of:
            who, loss = _first_source(of.source, of.of_sources), _loss(warning, of.lost_share)
            if of.opening is None:
                said = (
                    N_(
                        "{source} is not expected to bloom within the season, while {block} does; {loss} ({chance} "
                        "chance that it starts too late)."
                    )
                    if act
                    else N_(
                        "{source} may not bloom within the season, while {block} does; {loss} ({chance} chance that "
                        "it starts too late)."
                    )
                )
                return _(said, source=who, block=name, loss=loss, chance=chance)
            said = (
                N_(
                    "{source} is expected to begin on {date}, {apart}; {loss} ({chance} chance that it starts too "
                    "late)."
                )
                if act
                else N_(
                    "{source} may begin on {date}, {apart}; {loss} ({chance} chance that it starts too late)."
                )
            )
            after = _after(of.days_after, name)
            return _(said, source=who, date=in_words(of.opening), apart=after, loss=loss, chance=chance)
        case GapBetweenSources() as of:
            said = (
                N_(
                    "{block} is expected to be without pollen in the middle of its bloom, after one source ends and "
                    "before the next begins; {loss} ({chance} chance of such a gap)."
                )
                if act
                else N_(
                    "{block} may be without pollen in the middle of its bloom, after one source ends and before the "
                    "next begins; {loss} ({chance} chance of such a gap)."
                )
            )
            return _(said, block=sentence(name), loss=_loss(warning, of.lost_share), chance=chance)
        case NoSourceInReach() as of:
            if of.by_list:
                return _(
                    "No pollen source stands among the neighbours given for {block}: its flowers are pistillate and "
                    "would stay without pollen.",
                    block=name,
                )
            return _(
                "No pollen source stands within {reach} of {block}: its flowers are pistillate and would stay without "
                "pollen.",
                reach=length_words(of.reach_m),
                block=name,
            )
        case VinesOutOfReach() as of:
            return ngettext(
                "Of {vines} vines of {block}, {count} vine stands farther than {reach} from any pollen source that can "
                "be counted on: the flowers there would stay without pollen.",
                "Of {vines} vines of {block}, {count} vines stand farther than {reach} from any pollen source that can "
                "be counted on: the flowers there would stay without pollen.",
                of.out,
                vines=of.vines,
                block=name,
                reach=length_words(of.reach_m),
            )
        case NoneViable() as of:
            why = [(of.makers, _("recorded as not viable")), (of.frosted, _("marked as frosted"))]
            found = [f"{listed([block_name(each) for each in who])} ({said})" for who, said in why if who]
            return _(
                "In reach of {block} no pollen can be counted on: {sources}.",
                block=name,
                sources="; ".join(found),
            )
        case OnlySource() as of:
            return _(
                "{block} depends on one pollen source, {source}: should it fail, no pollen is left in reach.",
                block=sentence(name),
                source=block_name(of.source),
            )
        case MainSource() as of:
            return _(
                "{block} depends mostly on one pollen source, {source}: the others in reach bloom at other times, and "
                "should it fail, about {share} of the bloom would lose its pollen.",
                block=sentence(name),
                source=block_name(of.source),
                share=percent(of.lost_share),
            )
        case BloomNotForecast(lacking) if lacking:
            return _(
                "The fit does not know {stages}, so the cover of {block} over time is not known.",
                stages=listed([exact_stage(stage) for stage in lacking]),
                block=name,
            )
        case BloomNotForecast():
            return _("The bloom of {block} cannot be forecast, so its cover is not known.", block=name)
        case BloomUnfinished():
            return _(
                "There is a {chance} chance that {block} does not finish its bloom within the season; the cover stated "
                "is that of the other cases.",
                chance=chance,
                block=name,
            )
        case SourcesNotForecast() as of:
            sources = listed([block_name(source) for source in of.sources])
            said = (
                N_(
                    "In reach of {block} the bloom of {sources} cannot be forecast, so its cover is not known."
                )
                if of.all_of_them
                else N_(
                    "In reach of {block} the bloom of {sources} cannot be forecast, so the cover stated leaves it out "
                    "and may be too low."
                )
            )
            return _(said, block=name, sources=sources)
        case SourcesFrosted() as of:
            return ngettext(
                "In reach of {block}, {sources} is marked as frosted and not counted on: fewer first flowers are left, "
                "and bloom from secondary buds may shed little pollen.",
                "In reach of {block}, {sources} are marked as frosted and not counted on: fewer first flowers are "
                "left, and bloom from secondary buds may shed little pollen.",
                len(of.frosted),
                block=name,
                sources=listed([block_name(source) for source in of.frosted]),
            )
        case SourcesFrostedInPart(sources, shares_left):
            left = [
                _("{source} ({share} of its shoots left)", source=block_name(source), share=percent(share))
                for source, share in zip(sources, shares_left, strict=True)
            ]
            return ngettext(
                "In reach of {block}, {sources} is marked as frosted in part. Whether its first flowers suffice is not "
                "known: the pollen is counted on in that share of the cases.",
                "In reach of {block}, {sources} are marked as frosted in part. Whether their first flowers suffice is "
                "not known: the pollen is counted on in that share of the cases.",
                len(sources),
                block=name,
                sources=listed(left),
            )
        case of:
            assert_never(of)


def _what_was_wrong(warning: PollenWarning) -> str:
    """What is thought to have happened, once its days are over."""
    name, chance = block_name(warning.block), percent(warning.chance)
    match warning.of:
        case SourceEndsFirst() as of:
            return _(
                "{source} is thought to have finished on {date}, {apart}; {loss} ({chance} chance that it ended too "
                "early).",
                source=_last_source(of.source, of.of_sources),
                date=in_words(of.finish),
                apart=_before(of.days_before, name),
                loss=_lost(warning, of.lost_share),
                chance=chance,
            )
        case SourceStartsLate() as of:
            who, loss = _first_source(of.source, of.of_sources), _lost(warning, of.lost_share)
            if of.opening is None:
                return _(
                    "{source} did not bloom while {block} did; {loss} ({chance} chance that it started too late).",
                    source=who,
                    block=name,
                    loss=loss,
                    chance=chance,
                )
            return _(
                "{source} is thought to have begun on {date}, {apart}; {loss} ({chance} chance that it started too "
                "late).",
                source=who,
                date=in_words(of.opening),
                apart=_after(of.days_after, name),
                loss=loss,
                chance=chance,
            )
        case GapBetweenSources() as of:
            return _(
                "{block} is thought to have been without pollen in the middle of its bloom; {loss} ({chance} chance of "
                "such a gap).",
                block=sentence(name),
                loss=_lost(warning, of.lost_share),
                chance=chance,
            )
        case OnlySource() | MainSource() as of:
            return _(
                "{block} depended on one pollen source, {source}.",
                block=sentence(name),
                source=block_name(of.source),
            )
        case _:
            return what_is_wrong(replace(warning, past=False))


def _lost(warning: PollenWarning, share: float) -> str:
    return _(
        "about {share} of {block}'s bloom would have opened without pollen",
        share=percent(share),
        block=warning.block.key,
    )


def _loss(warning: PollenWarning, share: float) -> str:
    return _(
        "about {share} of {block}'s bloom would open without pollen",
        share=percent(share),
        block=warning.block.key,
    )


def _before(days: int, name: str) -> str:
    if not days:
        return _("on the same day as {block}", block=name)
    return _("{days} before {block}", days=day_count(days), block=name)


def _after(days: int, name: str) -> str:
    if not days:
        return _("on the same day as {block}", block=name)
    return _("{days} after {block}", days=day_count(days), block=name)


def _last_source(source: NamedBlock, of_sources: int) -> str:
    """The source, and that it is the last of several."""
    name = sentence(block_name(source))
    if of_sources == 1:
        return name
    return _("{block}, the last of {count} pollen sources in reach,", block=name, count=of_sources)


def _first_source(source: NamedBlock, of_sources: int) -> str:
    """The source, and that it is the first of several."""
    name = sentence(block_name(source))
    if of_sources == 1:
        return name
    return _("{block}, the first of {count} pollen sources in reach,", block=name, count=of_sources)
