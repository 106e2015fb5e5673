"""What changed since it was last told, a sentence each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import assert_never

from models.vineyard.pollen_warnings import WarningCode
from models.vineyard.told import (
    FrostAhead,
    MedianMoved,
    News,
    NewSeason,
    Span,
    StageSeen,
    WarningGone,
    WarningLevelChanged,
    WarningNew,
    WeatherStale,
)
from service.words.forecast import stage_words
from service.words.language import N_, _, ngettext
from service.words.plain import day_count, from_to, in_words, listed, percent
from service.words.pollen_warnings import level_words

WARNINGS: dict[WarningCode, str] = {
    "pollen_ends_early": N_("pollen ends before its bloom does"),
    "pollen_starts_late": N_("pollen starts after its bloom does"),
    "pollen_gap": N_("a gap between its pollen sources"),
    "no_pollen_source_in_reach": N_("no pollen source in reach"),
    "single_pollen_source": N_("it depends on a single pollen source"),
    "no_viable_pollen": N_("no viable pollen in reach"),
    "unknown_bloom": N_("its bloom is not known"),
}
LABELS = N_("Keep to product labels and local rules on sprays in bloom.")


def news_words(news: News) -> str:
    """One piece of news."""
    match news:
        case NewSeason(season):
            return _("This is the first day that is told of season {season}.", season=season)
        case MedianMoved(block, stage, before, now):
            days = (now - before).days
            values = {
                "block": block,
                "stage": stage_words(stage),
                "days": day_count(abs(days)),
                "date": in_words(now),
            }
            if days > 0:
                return _("Block {block}: {stage} moved {days} later, to {date}.", **values)
            return _("Block {block}: {stage} moved {days} earlier, to {date}.", **values)
        case StageSeen(block, stage, day):
            return _(
                "Block {block}: {stage} was seen by {date}.",
                block=block,
                stage=stage_words(stage),
                date=in_words(day),
            )
        case WarningNew(block, code, level, chance, spans):
            return _(
                "New warning ({level}), block {block}: {warning}, {chance}.",
                level=level_words(level),
                block=block,
                warning=_(WARNINGS[code]) + _when(spans),
                chance=percent(chance),
            )
        case WarningLevelChanged(block, code, level, chance):
            values = {"block": block, "warning": _(WARNINGS[code]), "chance": percent(chance)}
            if level == "act":
                return _("Warning raised to act, block {block}: {warning}, now {chance}.", **values)
            return _("Warning eased to watch, block {block}: {warning}, now {chance}.", **values)
        case WarningGone(block, code, over):
            if over:
                return _("Warning over, block {block}: {warning}.", block=block, warning=_(WARNINGS[code]))
            return _("Warning gone, block {block}: {warning}.", block=block, warning=_(WARNINGS[code]))
        case FrostAhead(nights):
            return _(
                "Frost in the outlook, while shoots are green: night of {nights}. What it would do is not known.",
                nights=listed([in_words(night) for night in nights]),
            )
        case WeatherStale(through):
            return _(
                "No temperatures have come since {date}: the forecast rests on older weather.",
                date=in_words(through),
            )
    assert_never(news)


def news_title(vineyard: str, news: Sequence[News]) -> str:
    """A line for all of it: the vineyard, and how much there is."""
    return ngettext(
        "{vineyard}: {count} change in the forecast",
        "{vineyard}: {count} changes in the forecast",
        len(news),
        vineyard=vineyard,
    )


def news_text(vineyard: str, day: str, news: Sequence[News]) -> str:
    """All of it, as a letter."""
    lines = "\n".join(f"- {news_words(each)}" for each in news)
    error = _("Bloom dates are forecasts with an error.")
    return f"{vineyard}, {day}\n\n{lines}\n\n{error} {_(LABELS)}\n"


def _when(spans: Sequence[Span]) -> str:
    return "" if not spans else " " + listed([from_to(*span) for span in spans])
