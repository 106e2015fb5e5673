"""How a stage stands, what stages and leads are called, and what is said of a block's forecast."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from models.bloom.forecast import BlockForecast, Status, WhyNone
from models.bloom.frost_delay import MOST_DAYS_LATER
from models.bloom.hindcast import KNOWN_WEATHER, OTHERS_SEEN, Lead
from models.bloom.thresholds import Newcomer
from models.stages import STAGES
from models.vineyard.frost import LIMIT_STAGES, BlockFrost
from service.words.plain import listed, percent, sentence

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
# That secondary shoots bloom later is common practice, no source; what they bear is not known of muscadine.
_FROSTED_IN_PART = (
    "Marked as frosted: {killed} of its shoots. The others bloom as usual, secondary buds later, by anything up to "
    f"{MOST_DAYS_LATER} days (assumed): the windows are those of both together. {{left}} of its flowers are left, as "
    "it is not known how many secondary shoots bear. What is seen there teaches nothing about other blocks. Look often."
)
_WHY_NONE: dict[WhyNone, str] = {
    "cultivar_not_in_fit": "no bloom of cultivar {cultivar} is in the fit, nor of another of its species; log a season "
    "of it, say which cultivar it blooms like (blooms_like), or import a fit that has it",
}


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
    if block.share_killed is not None and block.basis != "none":
        said.append(_of_frosted(block.share_killed))
    return " ".join(said) or None


def _of_frosted(share_killed: float) -> str:
    """What froze, and what it does to the dates."""
    if share_killed == 1:
        return FROSTED
    fewest = percent(1 - share_killed)
    return _FROSTED_IN_PART.format(killed=percent(share_killed), left=f"{fewest} to 100 %")


def stage_frost_points(blocks: Iterable[BlockFrost], told: Callable[[float], str]) -> list[str]:
    """The chance of a night at each stage's limit, in the block where it is largest; ``told`` says a temperature."""
    found = [(each, block.block) for block in blocks for each in block.by_stage if each.chance is not None]
    worst = {each.stage: (each, block) for each, block in sorted(found, key=lambda one: one[0].chance or 0.0)}
    return [
        f"{percent(each.chance or 0.0)} chance of a night at or below {told(each.limit_c)} from "
        f"{stage_words(each.stage)} until {stage_words(each.until)} ({block})"
        for stage in LIMIT_STAGES
        if stage in worst
        for each, block in [worst[stage]]
    ]


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
