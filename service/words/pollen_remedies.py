"""What to do about a block that lacks pollen: common practice, no source."""

from __future__ import annotations

from typing import assert_never

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
)
from service.words.language import _
from service.words.plain import (
    block_name,
    from_to,
    in_words,
    listed,
)

MOST_DONORS_NAMED = 4


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
