"""Set and what it says of cover, as a grower reads it."""

from __future__ import annotations

from models.vineyard.fruit_set import PublishedSet, WhyLeftOut
from models.vineyard.set_on_cover import LEAST_FREEDOM, DaysFound, SetOnCover
from service.words.language import N_, _, ngettext
from service.words.plain import percent, to

LEFT_OUT: dict[WhyLeftOut, str] = {
    "no_flowers": N_("no flowers were counted before its berries"),
    "no_berries": N_("no berries were counted yet"),
    "no_flower_before": N_("its flowers were counted after its berries"),
    "more_berries_than_flowers": N_("it has more berries than flowers; are they of one cluster?"),
}


def published_words(published: PublishedSet) -> str:
    """A published range, and whose it is."""
    span = percent(published.low)
    if published.high > published.low:
        span = to(f"{100 * published.low:.0f}", percent(published.high))
    return f"{span}: {published.what} ({published.source})"


def claim_words(claim: SetOnCover) -> str:
    """Whether cover explains set on these vines; until it does, warnings rest on an assumption."""
    match claim.verdict:
        case "too_few":
            return _(
                "Too few counts to tell whether cover explains set: it takes pistillate blocks of two seasons or more, "
                "{more} more than there are cultivars and seasons. Until then it is assumed that it does.",
                more=LEAST_FREEDOM,
            )
        case "no_difference":
            return _(
                "Cover hardly differed between blocks of a season, so set says nothing of it. That cover matters stays "
                "an assumption."
            )
        case "not_shown":
            return _(
                "On these vines it is not shown that cover explains set: the effect may as well be none. That cover "
                "matters stays an assumption."
            )
        case "against":
            return _("On these vines blocks with more cover set less: the counts speak against the warnings.")
        case "explains":
            effect = claim.effect
            if effect is None:
                raise ValueError("a claim that is shown has an effect")
            return _(
                "On these vines cover explains set: without cover {without} of the flowers would set, with full cover "
                "{with_cover}. It goes together; that it is the cause is likely, not proven.",
                without=percent(effect.set_without),
                with_cover=percent(effect.set_with),
            )


def days_words(receptive: DaysFound, pollen: DaysFound) -> str:
    """The days that fit best."""
    return _(
        "The counts fit best with flowers receptive for {receptive} and anthers shedding for {pollen}.",
        receptive=_days(receptive),
        pollen=_days(pollen),
    )


def _days(found: DaysFound) -> str:
    return ngettext(
        "{count} day ({range})", "{count} days ({range})", found.best, range=to(found.low, found.high)
    )
