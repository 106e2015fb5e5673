"""Warnings about a block's pollen, and what to do. What to do is common practice, no source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import assert_never

from models.records import Cultivar, PollenNote
from models.vineyard.block_pollination import AtReach, MedianInterval
from models.vineyard.bouquets import RENEW_DAYS, bouquets
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
from models.vineyard.uncovered import Uncovered
from service.words.forecast import exact_stage
from service.words.language import N_, _, ngettext
from service.words.plain import (
    block_name,
    day_count,
    from_to,
    in_words,
    length_words,
    listed,
    percent,
    sentence,
    to,
)

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
MOST_DONORS_NAMED = 4


def short_warning(code: WarningCode) -> str:
    """A warning in titles and lists."""
    return _(SHORT[code])


def level_words(level: WarningLevel) -> str:
    """How grave a warning is."""
    return _(LEVELS[level])


def cover_words(covered: MedianInterval | None) -> str:
    """How much of a block's bloom gets pollen from the sources that are known."""
    if covered is None:
        return _("pollen cover not known")
    if covered.high == 0:
        return _("none of its flowers open while a listed source sheds")
    return _(
        "{share} of its flowers open while a listed source sheds ({range})",
        share=percent(covered.median),
        range=to(percent(covered.low), percent(covered.high)),
    )


def other_reach_words(other: AtReach) -> str:
    """What cover would be were pollen carried another way."""
    count = len(other.sources)
    sources = (
        ngettext("{count} source in reach", "{count} sources in reach", count)
        if count
        else _("no source in reach")
    )
    return _(
        "were pollen carried {reach}: {sources}, {cover}",
        reach=length_words(other.reach_m),
        sources=sources,
        cover=cover_words(other.share_of_bloom_covered),
    )


def note_words(note: PollenNote, cultivars: Mapping[str, Cultivar]) -> str:
    """What was noted of a source for a cultivar, and where that is from."""
    return _(
        "Noted of {source} as a source: {note} ({reference})",
        source=cultivars[note.source].name,
        note=note.text,
        reference=note.reference,
    )


def uncovered_words(run: Uncovered) -> str:
    """Days without pollen, how likely, and what they may cost."""
    values = {
        "days": from_to(*run.span),
        "chance": percent(run.chance),
        "share": percent(run.share_of_bloom),
    }
    if len(run.days) > 1:
        if run.level == "act":
            return _(
                "no pollen likely {days}: {chance} chance on the likeliest day, {share} of its flowers at stake",
                **values,
            )
        return _(
            "no pollen possible {days}: {chance} chance on the likeliest day, {share} of its flowers at stake",
            **values,
        )
    if run.level == "act":
        return _("no pollen likely {days}: {chance} chance, {share} of its flowers at stake", **values)
    return _("no pollen possible {days}: {chance} chance, {share} of its flowers at stake", **values)


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


def what_to_do(warning: PollenWarning) -> str:
    """What helps, now and in later years."""
    now = _what_it_cost(warning) if warning.past else _shoots(warning)
    match warning.of:
        case SourceEndsFirst():
            return f"{now} " + _("For later years interplant a self-fertile cultivar that blooms later.")
        case SourceStartsLate():
            return f"{now} " + _("For later years interplant a self-fertile cultivar that blooms earlier.")
        case GapBetweenSources():
            return f"{now} " + _(
                "For later years interplant a self-fertile cultivar that blooms between the two."
            )
        case NoSourceInReach() | VinesOutOfReach():
            return f"{now} " + _("For later years interplant a self-fertile cultivar that blooms with it.")
        case NoneViable():
            later = _("For later years interplant a self-fertile cultivar with viable pollen.")
            return _("Check those records.") + f" {now} {later}"
        case SourcesFrosted():
            return _(
                "Look whether flowers there shed pollen; where some shoots are left, tell the share that froze."
            )
        case SourcesFrostedInPart():
            look = _("Look whether flowers there shed pollen, and correct the share that froze.")
            return f"{now} {look}" if warning.spans else look
        case OnlySource() | MainSource():
            if warning.past:
                return f"{now} " + _(
                    "A second self-fertile cultivar within reach would make it safe in later years."
                )
            return _(
                "Look whether it flowers and its pollen is good; a second self-fertile cultivar within reach that "
                "blooms with the block would make it safe."
            )
        case BloomNotForecast(lacking) if lacking:
            return _("Log all three bloom stages, or make a fit with them.")
        case BloomNotForecast():
            return _("Record bloom dates or visits of it, or take over a fit that knows its cultivar.")
        case BloomUnfinished():
            return _("Look at it late in the season, and record what you see.")
        case SourcesNotForecast():
            return _("Record bloom dates or visits there, or take over a fit that knows the cultivar.")
        case of:
            assert_never(of)


def _shoots(warning: PollenWarning) -> str:
    """From where to cut flowering shoots, and when to place them."""
    if not warning.ahead:
        return _("No single day is likely enough yet to place flowering shoots: look again nearer to bloom.")
    days = listed([from_to(*span) for span in warning.ahead])
    if not warning.donors:
        return _(
            "No other block listed here is likely to have open anthers with viable pollen then: flowering shoots or "
            "potted self-fertile vines from elsewhere would have to stand in water among {block}'s vines {days}.",
            block=warning.block.key,
            days=days,
        )
    more = len(warning.donors) - MOST_DONORS_NAMED
    names = [
        _(
            "{block}, likely open {days}",
            block=block_name(donor.block),
            days=from_to(donor.first_day, donor.last_day),
        )
        for donor in warning.donors[:MOST_DONORS_NAMED]
    ]
    names += [_("{more} more", more=more)] if more > 0 else []
    place = _(
        "Place flowering shoots in water among {block}'s vines {days}, from {donors}; or set potted self-fertile vines "
        "there.",
        block=warning.block.key,
        days=days,
        donors="; ".join(names),
    )
    return f"{place} {_renewal(warning)}"


def _renewal(warning: PollenWarning) -> str:
    """On which days to put fresh shoots, and on which none can be had."""
    told = bouquets(warning)
    renew = [in_words(each.date) for each in told if each.renew]
    none = [in_words(each.date) for each in told if not each.blocks]
    if not renew:
        return _("Keep them in fresh water (common practice in apple, no source for muscadine).")
    if none:
        return _(
            "Fresh ones every {days} days or so: {dates}; on {none} no block is likely to have open anthers (common "
            "practice in apple, no source for muscadine).",
            days=RENEW_DAYS,
            dates=listed(renew),
            none=listed(none),
        )
    return _(
        "Fresh ones every {days} days or so: {dates} (common practice in apple, no source for muscadine).",
        days=RENEW_DAYS,
        dates=listed(renew),
    )


def _what_it_cost(warning: PollenWarning) -> str:
    """After the bloom: how to see what came of it."""
    return _("This bloom is past: count set in {block} to see what came of it.", block=warning.block.key)


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
