"""Warnings about a block's pollen, and what to do. What to do is common practice, no source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import assert_never

from models.records import Cultivar, PollenNote
from models.units import feet_from_metres
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
)
from models.vineyard.reach import NamedBlock
from models.vineyard.uncovered import Uncovered
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
MOST_DONORS_NAMED = 4
_SECOND_SOURCE = (
    "Look whether it flowers and its pollen is good; a second self-fertile cultivar within reach that blooms with the "
    "block would make it safe."
)


def cover_words(covered: MedianInterval | None) -> str:
    """How much of a block's bloom gets pollen from the sources that are known."""
    if covered is None:
        return "pollen cover not known"
    if covered.high == 0:
        return "none of its flowers open while a listed source sheds"
    low, high = percent(covered.low), percent(covered.high)
    return f"{percent(covered.median)} of its flowers open while a listed source sheds ({low} to {high})"


def other_reach_words(other: AtReach) -> str:
    """What cover would be were pollen carried another way."""
    far = f"{other.reach_m:g} m ({feet_from_metres(other.reach_m):.0f} ft)"
    count = len(other.sources)
    sources = f"{count} source{'' if count == 1 else 's'} in reach" if count else "no source in reach"
    return f"were pollen carried {far}: {sources}, {cover_words(other.share_of_bloom_covered)}"


def note_words(note: PollenNote, cultivars: Mapping[str, Cultivar]) -> str:
    """What was noted of a source for a cultivar, and where that is from."""
    return f"Noted of {cultivars[note.source].name} as a source: {note.text} ({note.reference})"


def uncovered_words(run: Uncovered) -> str:
    """Days without pollen, how likely, and what they may cost."""
    how = "likely" if run.level == "act" else "possible"
    return (
        f"no pollen {how} {from_to(*run.span)}: {percent(run.chance)} chance"
        f"{' on the likeliest day' if len(run.days) > 1 else ''}, {percent(run.share_of_bloom)} of its flowers at stake"
    )


def warning_words(warning: PollenWarning) -> str:
    """What is wrong, and what to do about it."""
    return f"{what_is_wrong(warning)} {what_to_do(warning)}"


def what_is_wrong(warning: PollenWarning) -> str:
    """What is wrong with the block's pollen, or was, in one sentence."""
    if warning.past:
        return _what_was_wrong(warning)
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
        case VinesOutOfReach() as of:
            far = f"{of.reach_m:g} m ({feet_from_metres(of.reach_m):.0f} ft)"
            stand = "vine stands" if of.out == 1 else "vines stand"
            return (
                f"Of {of.vines} vines of {name}, {of.out} {stand} farther than {far} from any pollen source that can "
                "be counted on: the flowers there would stay without pollen."
            )
        case NoneViable() as of:
            why = [(of.makers, "recorded as not viable"), (of.frosted, "marked as frosted")]
            found = [f"{listed([block_name(each) for each in who])} ({said})" for who, said in why if who]
            return f"In reach of {name} no pollen can be counted on: {'; '.join(found)}."
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
        case BloomNotForecast(lacking) if lacking:
            return f"The fit does not know {listed(lacking)}, so the cover of {name} over time is not known."
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
        case SourcesFrosted() as of:
            sources = listed([block_name(source) for source in of.frosted])
            return (
                f"In reach of {name}, {sources} {'is' if len(of.frosted) == 1 else 'are'} marked as frosted and not "
                "counted on: fewer first flowers are left, and bloom from secondary buds may shed little pollen."
            )
        case SourcesFrostedInPart(sources, shares_left):
            told = zip(sources, shares_left, strict=True)
            left = listed(
                [f"{block_name(source)} ({percent(share)} of its shoots left)" for source, share in told]
            )
            none = "its first flowers suffice" if len(sources) == 1 else "their first flowers suffice"
            return (
                f"In reach of {name}, {left} {'is' if len(sources) == 1 else 'are'} marked as frosted in part. Whether "
                f"{none} is not known: the pollen is counted on in that share of the cases."
            )
        case of:
            assert_never(of)


def what_to_do(warning: PollenWarning) -> str:
    """What helps, now and in later years."""
    now = _what_it_cost(warning) if warning.past else _shoots(warning)
    match warning.of:
        case SourceEndsFirst():
            return f"{now} For later years interplant a self-fertile cultivar that blooms later."
        case SourceStartsLate():
            return f"{now} For later years interplant a self-fertile cultivar that blooms earlier."
        case GapBetweenSources():
            return f"{now} For later years interplant a self-fertile cultivar that blooms between the two."
        case NoSourceInReach() | VinesOutOfReach():
            return f"{now} For later years interplant a self-fertile cultivar that blooms with it."
        case NoneViable():
            return f"Check those records. {now} For later years interplant a self-fertile cultivar with viable pollen."
        case SourcesFrosted():
            return "Look whether flowers there shed pollen; where some shoots are left, tell the share that froze."
        case SourcesFrostedInPart():
            look = "Look whether flowers there shed pollen, and correct the share that froze."
            return f"{now} {look}" if warning.spans else look
        case OnlySource() | MainSource():
            if warning.past:
                return f"{now} A second self-fertile cultivar within reach would make it safe in later years."
            return _SECOND_SOURCE
        case BloomNotForecast(lacking) if lacking:
            return "Log all three bloom stages, or make a fit with them."
        case BloomNotForecast():
            return "Record bloom dates or visits of it, or take over a fit that knows its cultivar."
        case BloomUnfinished():
            return "Look at it late in the season, and record what you see."
        case SourcesNotForecast():
            return "Record bloom dates or visits there, or take over a fit that knows the cultivar."
        case of:
            assert_never(of)


def _shoots(warning: PollenWarning) -> str:
    """From where to cut flowering shoots, and when to place them."""
    where = f"in water among {warning.block.key}'s vines"
    if not warning.ahead:
        return "No single day is likely enough yet to place flowering shoots: look again nearer to bloom."
    days = listed([from_to(*span) for span in warning.ahead])
    if not warning.donors:
        return (
            "No other block listed here is likely to have open anthers with viable pollen then: flowering shoots or "
            f"potted self-fertile vines from elsewhere would have to stand {where} {days}."
        )
    more = len(warning.donors) - MOST_DONORS_NAMED
    names = [
        f"{block_name(donor.block)}, likely open {from_to(donor.first_day, donor.last_day)}"
        for donor in warning.donors[:MOST_DONORS_NAMED]
    ]
    names += [f"{more} more"] if more > 0 else []
    place = f"Place flowering shoots {where} {days}, from {'; '.join(names)}; or set potted self-fertile vines there."
    return f"{place} {_renewal(warning)}"


def _renewal(warning: PollenWarning) -> str:
    """On which days to put fresh shoots, and on which none can be had."""
    told = bouquets(warning)
    renew = [in_words(each.date) for each in told if each.renew]
    none = [in_words(each.date) for each in told if not each.blocks]
    said = (
        f"Fresh ones every {RENEW_DAYS} days or so: {listed(renew)}" if renew else "Keep them in fresh water"
    )
    lacking = f"; on {listed(none)} no block is likely to have open anthers" if none else ""
    return f"{said}{lacking} (common practice in apple, no source for muscadine)."


def _what_it_cost(warning: PollenWarning) -> str:
    """After the bloom: how to see what came of it."""
    return f"This bloom is past: count set in {warning.block.key} to see what came of it."


def _what_was_wrong(warning: PollenWarning) -> str:
    """What is thought to have happened, once its days are over."""
    name = block_name(warning.block)
    chance = percent(warning.chance)
    match warning.of:
        case SourceEndsFirst() as of:
            when = f"is thought to have finished on {in_words(of.finish)}, {_apart(of.days_before, 'before', name)}"
            who = _who(of.source, of.of_sources, "last")
            return f"{who} {when}; {_lost(warning, of.lost_share)} ({chance} chance that it ended too early)."
        case SourceStartsLate() as of:
            when = f"did not bloom while {name} did"
            if of.opening is not None:
                when = f"is thought to have begun on {in_words(of.opening)}, {_apart(of.days_after, 'after', name)}"
            who = _who(of.source, of.of_sources, "first")
            return (
                f"{who} {when}; {_lost(warning, of.lost_share)} ({chance} chance that it started too late)."
            )
        case GapBetweenSources() as of:
            return (
                f"{sentence(name)} is thought to have been without pollen in the middle of its bloom; "
                f"{_lost(warning, of.lost_share)} ({chance} chance of such a gap)."
            )
        case OnlySource() | MainSource() as of:
            return f"{sentence(name)} depended on one pollen source, {block_name(of.source)}."
        case _:
            return what_is_wrong(replace(warning, past=False))


def _lost(warning: PollenWarning, share: float) -> str:
    return f"about {percent(share)} of {warning.block.key}'s bloom would have opened without pollen"


def _apart(days: int, order: str, name: str) -> str:
    return f"{day_count(days)} {order} {name}" if days else f"on the same day as {name}"


def _loss(warning: PollenWarning, share: float) -> str:
    return f"about {percent(share)} of {warning.block.key}'s bloom would open without pollen"


def _who(source: NamedBlock, of_sources: int, place: str) -> str:
    """The source, and that it is the last or the first of several."""
    name = sentence(block_name(source))
    return name if of_sources == 1 else f"{name}, the {place} of {of_sources} pollen sources in reach,"
