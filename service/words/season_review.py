"""A season looked back on, as a grower reads it."""

from __future__ import annotations

from collections.abc import Sequence

from models.vineyard.season_review import LeadSummary, Verdict, WarningReview
from service.words.language import N_, _
from service.words.news import WARNINGS
from service.words.plain import day_count, in_words, percent

VERDICTS: dict[Verdict, str] = {
    "came": N_("it came"),
    "did_not_come": N_("it did not come"),
    "unclear": N_("not clear"),
    "not_seen": N_("nobody saw the block bloom, so nobody knows"),
    "missed": N_("it came, and was never told"),
}


def warning_review_words(review: WarningReview) -> str:
    """One warning, when it was told, and what became of it."""
    values = {
        "block": review.block,
        "warning": _(WARNINGS[review.code]),
        "verdict": _(VERDICTS[review.verdict]),
        "chance": percent(review.chance),
    }
    if review.first_told is None or review.highest_chance is None:
        return _("Block {block}: {warning}; {verdict} ({chance} as known now).", **values)
    return _(
        "Block {block}: {warning}, told from {date}, {highest} at most; {verdict} ({chance} as known now).",
        date=in_words(review.first_told),
        highest=percent(review.highest_chance),
        **values,
    )


def lead_summary_words(summary: LeadSummary) -> str:
    """How far off the dates were at one lead."""
    late = round(summary.bias)
    side = _("on the whole neither early nor late")
    if late > 0:
        side = _("on the whole {days} too late", days=day_count(late))
    elif late < 0:
        side = _("on the whole {days} too early", days=day_count(-late))
    return _(
        "{lead} before: {dates} dates, {error} days off, {side}; {share} within their interval.",
        lead=day_count(summary.lead),
        dates=summary.stages,
        error=f"{summary.mean_absolute_error:.1f}",
        side=side,
        share=percent(summary.inside),
    )


def basis_words(*, kept: bool, season_in_fit: bool, days: int) -> str:
    """What the review rests on."""
    if not days:
        return _("Nothing was told in this season, and no date was seen, so there is nothing to compare.")
    if kept:
        return _("It rests on what was told on {days}.", days=day_count(days))
    said = _("Nothing was kept in this season: {days}, one a week, were computed anew.", days=day_count(days))
    if season_in_fit:
        said += " " + _(
            "The fit has learned from this season, so they look better than they would have been."
        )
    return said


def verdict_words(warnings: Sequence[WarningReview]) -> str:
    """How many warnings were right."""
    told = [each for each in warnings if each.verdict != "missed"]
    if not warnings:
        return _("No warning about time was told, and none came.")
    right = sum(each.verdict == "came" for each in told)
    wrong = sum(each.verdict == "did_not_come" for each in told)
    return _(
        "Of {told} warnings {right} came, {wrong} did not, {open} are not known; {missed} came untold.",
        told=len(told),
        right=right,
        wrong=wrong,
        open=len(told) - right - wrong,
        missed=len(warnings) - len(told),
    )
