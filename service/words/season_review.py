"""A season looked back on, as a grower reads it."""

from __future__ import annotations

from collections.abc import Sequence

from models.vineyard.season_review import LeadSummary, Verdict, WarningReview
from service.words.news import WARNINGS
from service.words.plain import day_count, in_words, percent

VERDICTS: dict[Verdict, str] = {
    "came": "it came",
    "did_not_come": "it did not come",
    "unclear": "not clear",
    "not_seen": "nobody saw the block bloom, so nobody knows",
    "missed": "it came, and was never told",
}


def warning_review_words(review: WarningReview) -> str:
    """One warning, when it was told, and what became of it."""
    said = f"Block {review.block}: {WARNINGS[review.code]}"
    if review.first_told is None or review.highest_chance is None:
        return f"{said}; {VERDICTS[review.verdict]} ({percent(review.chance)} as known now)."
    told = f"told from {in_words(review.first_told)}, {percent(review.highest_chance)} at most"
    return f"{said}, {told}; {VERDICTS[review.verdict]} ({percent(review.chance)} as known now)."


def lead_summary_words(summary: LeadSummary) -> str:
    """How far off the dates were at one lead."""
    late = round(summary.bias)
    side = "on the whole neither early nor late"
    if late:
        side = f"on the whole {day_count(abs(late))} too {'late' if late > 0 else 'early'}"
    off = f"{summary.stages} dates, {summary.mean_absolute_error:.1f} days off, {side}"
    return f"{day_count(summary.lead)} before: {off}; {percent(summary.inside)} within their interval."


def basis_words(*, kept: bool, season_in_fit: bool, days: int) -> str:
    """What the review rests on."""
    if not days:
        return "Nothing was told in this season, and no date was seen, so there is nothing to compare."
    if kept:
        return f"It rests on what was told on {day_count(days)}."
    said = f"Nothing was kept in this season: {day_count(days)}, one a week, were computed anew."
    if season_in_fit:
        said += " The fit has learned from this season, so they look better than they would have been."
    return said


def verdict_words(warnings: Sequence[WarningReview]) -> str:
    """How many warnings were right."""
    told = [each for each in warnings if each.verdict != "missed"]
    if not warnings:
        return "No warning about time was told, and none came."
    right = sum(each.verdict == "came" for each in told)
    wrong = sum(each.verdict == "did_not_come" for each in told)
    missed = len(warnings) - len(told)
    open_ones = len(told) - right - wrong
    said = f"Of {len(told)} warnings {right} came, {wrong} did not, {open_ones} are not known"
    return f"{said}; {missed} came untold."
