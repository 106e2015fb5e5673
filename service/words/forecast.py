"""How a stage stands, what stages and leads are called, and what is said of a block's forecast."""

from __future__ import annotations

from models.bloom.forecast import BlockForecast, StageForecast, Status, WhyNone
from models.bloom.frost_delay import MOST_DAYS_LATER
from models.bloom.hindcast import KNOWN_WEATHER, OTHERS_SEEN, Lead
from models.bloom.thresholds import Newcomer
from models.stages import STAGES
from models.vineyard.frost import BlockFrost
from service.words.plain import in_words, listed, percent, sentence

MUCH_BETTER = 0.8  # of the usual date's error. Our convention.
STATUSES: dict[Status, str] = {
    "observed": "seen",
    "expected": "expected",
    "presumed": "presumed past, not seen",
    "overdue": "overdue, visits say not yet later than usual",
    "unlikely": "unlikely this season",
}
MEANINGS = {stage.key: stage.meaning for stage in STAGES}
# Where "bloom" is said already.
SHORT_STAGES = {"bloom_start": "start", "full_bloom": "full bloom", "bloom_end": "end"}
# On an axis.
SHORT_LEADS: dict[Lead, str] = {KNOWN_WEATHER: "known", OTHERS_SEEN: "seen"}
MAY_NOT_BLOOM = "may not bloom this season"
MOSTLY_POOLED = "This cultivar has few seasons of its own here: its dates lean on the other cultivars."
# Common practice, no source.
FROSTED = (
    "Marked as frosted: bloom from secondary buds comes later and lasts longer than the thresholds know. By how much "
    f"is not known, so anything up to {MOST_DAYS_LATER} days is taken as likely: that is why this block's windows are "
    "wide. What is seen there teaches nothing about other blocks. Look often."
)
_WHY_NONE: dict[WhyNone, str] = {
    "cultivar_not_in_fit": "no bloom of cultivar {cultivar} is in the fit, nor of another of its species; log a season "
    "of it, say which cultivar it blooms like (blooms_like), or import a fit that has it",
}


# Had come at the first look.
_BY_THEN = {"bloom_start": "open", "full_bloom": "past full bloom", "bloom_end": "over"}


def status_words(stage: str, told: StageForecast) -> str:
    """How a stage stands; of one that had come before anybody looked, by when it had."""
    if told.first_look is None:
        return STATUSES[told.status]
    return f"{_BY_THEN.get(stage, 'come')} at the first look on {in_words(told.first_look)}"


def stage_words(stage: str) -> str:
    """A stage key as in "bloom start"."""
    return stage.replace("_", " ")


def lead_words(lead: Lead) -> str:
    """A lead as in "14 days ahead"."""
    return f"{lead} days ahead" if isinstance(lead, int) else lead


def short_lead(lead: Lead) -> str:
    """A lead as an axis has room for it."""
    return SHORT_LEADS.get(lead, str(lead))


def why_none(block: BlockForecast) -> str | None:
    """Why a block has no forecast, as part of a sentence; None where it has one."""
    return None if block.why_none is None else _WHY_NONE[block.why_none].format(cultivar=block.cultivar)


def why_no_window(block: BlockForecast) -> str:
    """Why a block's bloom has no date, as part of a sentence."""
    return why_none(block) or MAY_NOT_BLOOM


def why_no_chance(frost: BlockFrost) -> str | None:
    """Why a chance of frost is not known, as part of a sentence; None where it is."""
    if frost.chance is not None and frost.chance_in_bloom is not None:
        return None
    if frost.lacking:
        return f"the fit does not know {listed(frost.lacking)}, so which nights fall into bloom is not known"
    return "the bloom of this block is not forecast"


def what_is_special(block: BlockForecast) -> str | None:
    """What is special about a block's dates; None for nothing."""
    said = [] if block.newcomer is None else [_of_group(block.newcomer)]
    said += [FROSTED] if block.frosted and block.basis != "none" else []
    return " ".join(said) or None


def _of_group(newcomer: Newcomer) -> str:
    """From which cultivars a newcomer's dates are taken."""
    count = len(newcomer.group)
    cultivars = f"{count} known cultivar{'' if count == 1 else 's'}"
    if newcomer.species is None:
        whence = f"{cultivars}, which may be of another species, and held wide for that"
    else:
        whence = f"{cultivars} of its species"
    said = f"No season of this cultivar is known: its dates are those of {whence}"
    if newcomer.like is None:
        return f"{said}."
    return f"{said}, drawn to {offset_words(newcomer.like, newcomer.days_later)}, as recorded."


def offset_words(like: str, days_later: float) -> str:
    """An offset as in "3 days after oak-lantern"."""
    if days_later == 0:
        return f"those of {like}"
    days = f"{abs(days_later):g} day{'' if abs(days_later) == 1 else 's'}"
    return f"{days} {'after' if days_later > 0 else 'before'} {like}"


def skill_words(
    stage: str, lead: Lead, *, n: int, rmse: float, usual_rmse: float, coverage: float, interval: float
) -> str:
    """What a hindcast's figures at one lead mean: how far off, beside the usual date, and whether to plan by it."""
    held = (
        f"of {n} dates the {percent(interval)} interval held {percent(coverage)}"
        if n > 1
        else "a single date tells little"
    )
    said = (
        f"{sentence(lead_words(lead))}, {stage_words(stage)} was forecast {rmse:.1f} days off on the whole, the "
        f"cultivar's usual date {usual_rmse:.1f} days; {held}."
    )
    if rmse < MUCH_BETTER * usual_rmse:
        return f"{said} The forecast is worth planning by."
    if rmse < usual_rmse:
        return f"{said} The forecast is a little better than the usual date."
    return f"{said} So far ahead the usual date is as good as the forecast."
