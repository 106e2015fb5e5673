"""How a stage stands, what stages and leads are called, and what is said of a block's forecast."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from models.bloom.forecast import BlockForecast, StageForecast, Status, WhyNone
from models.bloom.frost_delay import MOST_DAYS_LATER
from models.bloom.hindcast import KNOWN_WEATHER, OTHERS_SEEN, Lead
from models.bloom.thresholds import Newcomer
from models.vineyard.frost import LIMIT_STAGES, BlockFrost
from service.words.language import N_, _, ngettext, reading
from service.words.plain import in_words, listed, percent, sentence

MUCH_BETTER = 0.8  # of the usual date's error. Our convention.
STATUSES: dict[Status, str] = {
    "observed": N_("seen"),
    "expected": N_("expected"),
    "presumed": N_("presumed past, not seen"),
    "overdue": N_("overdue, visits say not yet later than usual"),
    "unlikely": N_("unlikely this season"),
}
STAGE_NAMES = {
    "budbreak": N_("budbreak"),
    "bloom_start": N_("bloom start"),
    "full_bloom": N_("full bloom"),
    "bloom_end": N_("bloom end"),
    "fruit_set": N_("fruit set"),
    "veraison": N_("veraison"),
    "harvest": N_("harvest"),
}
MEANINGS = {
    "budbreak": N_("green shoot tips visible"),
    "bloom_start": N_("10 % of caps off"),
    "full_bloom": N_("50 % of caps off"),
    "bloom_end": N_("95 % of caps off"),
    "fruit_set": N_("young berries begin to swell"),
    "veraison": N_("berries begin to soften or colour"),
    "harvest": N_("ripe for harvest"),
}
# Where "bloom" is said already.
SHORT_STAGES = {"bloom_start": N_("start"), "full_bloom": N_("full bloom"), "bloom_end": N_("end")}
# On an axis.
SHORT_LEADS: dict[Lead, str] = {KNOWN_WEATHER: N_("known"), OTHERS_SEEN: N_("seen")}
LEADS: dict[Lead, str] = {KNOWN_WEATHER: N_("known weather"), OTHERS_SEEN: N_("others seen")}
MAY_NOT_BLOOM = N_("may not bloom this season")
MOSTLY_POOLED = N_("This cultivar has few seasons of its own here: its dates lean on the other cultivars.")
# Common practice, no source.
FROSTED = N_(
    "Marked as frosted: bloom from secondary buds comes later and lasts longer than the thresholds know. By how much "
    "is not known, so anything up to {days} days is taken as likely: that is why this block's windows are wide. What "
    "is seen there teaches nothing about other blocks. Look often."
)
# That secondary shoots bloom later is common practice, no source; what they bear is not known of muscadine.
FROSTED_IN_PART = N_(
    "Marked as frosted: {killed} of its shoots. The others bloom as usual, secondary buds later, by anything up to "
    "{days} days (assumed): the windows are those of both together. {left} to 100 % of its flowers are left, as it is "
    "not known how many secondary shoots bear. What is seen there teaches nothing about other blocks. Look often."
)
_WHY_NONE: dict[WhyNone, str] = {
    "cultivar_not_in_fit": N_(
        "no bloom of cultivar {cultivar} is in the fit, nor of another of its species; log a season of it, say which "
        "cultivar it blooms like (blooms_like), or import a fit that has it"
    ),
}


# Had come at the first look.
_BY_THEN = {
    "bloom_start": N_("open at the first look on {date}"),
    "full_bloom": N_("past full bloom at the first look on {date}"),
    "bloom_end": N_("over at the first look on {date}"),
}
_COME = N_("come at the first look on {date}")


def stage_words(stage: str) -> str:
    """A stage key as in "bloom start"."""
    return _(STAGE_NAMES[stage]) if stage in STAGE_NAMES else stage.replace("_", " ")


def exact_stage(stage: str) -> str:
    """A stage within a sentence: in words on a page, by its key for programs and terminals."""
    return stage_words(stage) if reading().on_page else stage


def stage_meaning(stage: str) -> str:
    """What a stage is, as in "10 % of caps off"."""
    return _(MEANINGS[stage])


def bare_status(status: Status) -> str:
    """How a stage stands, as in "expected"."""
    return _(STATUSES[status])


def status_words(stage: str, told: StageForecast) -> str:
    """How a stage stands; of one that had come before anybody looked, by when it had."""
    if told.first_look is None:
        return bare_status(told.status)
    return _(_BY_THEN.get(stage, _COME), date=in_words(told.first_look))


def short_stage(stage: str) -> str:
    """A stage of bloom where "bloom" is said already."""
    return _(SHORT_STAGES[stage])


def lead_words(lead: Lead) -> str:
    """A lead as in "14 days ahead"."""
    return _("{days} days ahead", days=lead) if isinstance(lead, int) else _(LEADS[lead])


def short_lead(lead: Lead) -> str:
    """A lead as an axis has room for it."""
    return _(SHORT_LEADS[lead]) if lead in SHORT_LEADS else str(lead)


def why_none(block: BlockForecast) -> str | None:
    """Why a block has no forecast, as part of a sentence; None where it has one."""
    return None if block.why_none is None else _(_WHY_NONE[block.why_none], cultivar=block.cultivar)


def why_no_window(block: BlockForecast) -> str:
    """Why a block's bloom has no date, as part of a sentence."""
    return why_none(block) or _(MAY_NOT_BLOOM)


def why_no_chance(frost: BlockFrost) -> str | None:
    """Why a chance of frost is not known, as part of a sentence; None where it is."""
    if frost.chance is not None and frost.chance_in_bloom is not None:
        return None
    if frost.lacking:
        return _(
            "the fit does not know {stages}, so which nights fall into bloom is not known",
            stages=listed([exact_stage(stage) for stage in frost.lacking]),
        )
    return _("the bloom of this block is not forecast")


def what_is_special(block: BlockForecast) -> str | None:
    """What is special about a block's dates; None for nothing."""
    said = [] if block.newcomer is None else [_of_group(block.newcomer)]
    if block.share_killed is not None and block.basis != "none":
        said.append(_of_frosted(block.share_killed))
    return " ".join(said) or None


def _of_frosted(share_killed: float) -> str:
    """What froze, and what it does to the dates."""
    if share_killed == 1:
        return _(FROSTED, days=MOST_DAYS_LATER)
    killed, left = percent(share_killed), percent(1 - share_killed)
    return _(FROSTED_IN_PART, killed=killed, days=MOST_DAYS_LATER, left=left)


def stage_frost_points(blocks: Iterable[BlockFrost], told: Callable[[float], str]) -> list[str]:
    """The chance of a night at each stage's limit, in the block where it is largest; ``told`` says a temperature."""
    found = [(each, block.block) for block in blocks for each in block.by_stage if each.chance is not None]
    worst = {each.stage: (each, block) for each, block in sorted(found, key=lambda one: one[0].chance or 0.0)}
    return [
        _(
            "{chance} chance of a night at or below {limit} from {stage} until {until} ({block})",
            chance=percent(each.chance or 0.0),
            limit=told(each.limit_c),
            stage=stage_words(each.stage),
            until=stage_words(each.until),
            block=block,
        )
        for stage in LIMIT_STAGES
        if stage in worst
        for each, block in [worst[stage]]
    ]


def _of_group(newcomer: Newcomer) -> str:
    """From which cultivars a newcomer's dates are taken."""
    count = len(newcomer.group)
    if newcomer.species is None:
        whence = ngettext(
            "{count} known cultivar, which may be of another species, and held wide for that",
            "{count} known cultivars, which may be of another species, and held wide for that",
            count,
        )
    else:
        whence = ngettext(
            "{count} known cultivar of its species", "{count} known cultivars of its species", count
        )
    said = _("No season of this cultivar is known: its dates are those of {cultivars}", cultivars=whence)
    if newcomer.like is None:
        return f"{said}."
    return said + _(", drawn to {like}, as recorded.", like=offset_words(newcomer.like, newcomer.days_later))


def offset_words(like: str, days_later: float) -> str:
    """An offset as in "3 days after oak-lantern"."""
    if days_later == 0:
        return _("those of {like}", like=like)
    one = abs(days_later) == 1
    days = _("1 day") if one else _("{days} days", days=f"{abs(days_later):g}")
    if days_later > 0:
        return _("{days} after {like}", days=days, like=like)
    return _("{days} before {like}", days=days, like=like)


def skill_words(
    stage: str, lead: Lead, *, n: int, rmse: float, usual_rmse: float, coverage: float, interval: float
) -> str:
    """What a hindcast's figures at one lead mean: how far off, beside the usual date, and whether to plan by it."""
    if n > 1:
        held = _(
            "of {dates} dates the {interval} interval held {share}",
            dates=n,
            interval=percent(interval),
            share=percent(coverage),
        )
    else:
        held = _("a single date tells little")
    said = _(
        "{lead}, {stage} was forecast {error} days off on the whole, the cultivar's usual date {usual} days; {held}.",
        lead=sentence(lead_words(lead)),
        stage=stage_words(stage),
        error=f"{rmse:.1f}",
        usual=f"{usual_rmse:.1f}",
        held=held,
    )
    if rmse < MUCH_BETTER * usual_rmse:
        return f"{said} " + _("The forecast is worth planning by.")
    if rmse < usual_rmse:
        return f"{said} " + _("The forecast is a little better than the usual date.")
    return f"{said} " + _("So far ahead the usual date is as good as the forecast.")
