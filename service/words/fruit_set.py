"""Set and what it says of cover, as a grower reads it."""

from __future__ import annotations

from models.vineyard.fruit_set import PublishedSet, WhyLeftOut
from models.vineyard.set_on_cover import LEAST_FREEDOM, DaysFound, SetOnCover
from service.words.plain import percent

LEFT_OUT: dict[WhyLeftOut, str] = {
    "no_flowers": "no flowers were counted before its berries",
    "no_berries": "no berries were counted yet",
    "no_flower_before": "its flowers were counted after its berries",
    "more_berries_than_flowers": "it has more berries than flowers; are they of one cluster?",
}


def published_words(published: PublishedSet) -> str:
    """A published range, and whose it is."""
    span = percent(published.low)
    if published.high > published.low:
        span = f"{100 * published.low:.0f} to {percent(published.high)}"
    return f"{span}: {published.what} ({published.source})"


def claim_words(claim: SetOnCover) -> str:
    """Whether cover explains set on these vines; until it does, warnings rest on an assumption."""
    match claim.verdict:
        case "too_few":
            return (
                "Too few counts to tell whether cover explains set: it takes pistillate blocks of two seasons or more, "
                f"{LEAST_FREEDOM} more than there are cultivars and seasons. Until then it is assumed that it does."
            )
        case "no_difference":
            return (
                "Cover hardly differed between blocks of a season, so set says nothing of it. That cover matters stays "
                "an assumption."
            )
        case "not_shown":
            return (
                "On these vines it is not shown that cover explains set: the effect may as well be none. That cover "
                "matters stays an assumption."
            )
        case "against":
            return "On these vines blocks with more cover set less: the counts speak against the warnings."
        case "explains":
            effect = claim.effect
            if effect is None:
                raise ValueError("a claim that is shown has an effect")
            return (
                f"On these vines cover explains set: without cover {percent(effect.set_without)} of the flowers would "
                f"set, with full cover {percent(effect.set_with)}. It goes together; that it is the cause is likely, "
                "not proven."
            )


def days_words(receptive: DaysFound, pollen: DaysFound) -> str:
    """The days that fit best."""
    fitting = f"flowers receptive for {_days(receptive)} and anthers shedding for {_days(pollen)}"
    return f"The counts fit best with {fitting}."


def _days(found: DaysFound) -> str:
    word = "day" if found.best == 1 else "days"
    return f"{found.best} {word} ({found.low} to {found.high})"
