"""What changed since it was last told, a sentence each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import assert_never

from models.vineyard.pollen_warnings import WarningCode, WarningLevel
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
from service.words.plain import day_count, from_to, in_words, listed, percent

WARNINGS: dict[WarningCode, str] = {
    "pollen_ends_early": "pollen ends before its bloom does",
    "pollen_starts_late": "pollen starts after its bloom does",
    "pollen_gap": "a gap between its pollen sources",
    "no_pollen_source_in_reach": "no pollen source in reach",
    "single_pollen_source": "it depends on a single pollen source",
    "no_viable_pollen": "no viable pollen in reach",
    "unknown_bloom": "its bloom is not known",
}
LEVELS: dict[WarningLevel, str] = {"watch": "watch", "act": "act"}
LABELS = "Keep to product labels and local rules on sprays in bloom."


def news_words(news: News) -> str:
    """One piece of news."""
    match news:
        case NewSeason(season):
            return f"This is the first day that is told of season {season}."
        case MedianMoved(block, stage, before, now):
            days = (now - before).days
            how = f"{day_count(abs(days))} {'later' if days > 0 else 'earlier'}"
            return f"Block {block}: {stage_words(stage)} moved {how}, to {in_words(now)}."
        case StageSeen(block, stage, day):
            return f"Block {block}: {stage_words(stage)} was seen by {in_words(day)}."
        case WarningNew(block, code, level, chance, spans):
            return f"New warning ({LEVELS[level]}), block {block}: {WARNINGS[code]}{_when(spans)}, {percent(chance)}."
        case WarningLevelChanged(block, code, level, chance):
            how = "raised" if level == "act" else "eased"
            said = f"block {block}: {WARNINGS[code]}, now {percent(chance)}"
            return f"Warning {how} to {LEVELS[level]}, {said}."
        case WarningGone(block, code, over):
            return f"Warning {'over' if over else 'gone'}, block {block}: {WARNINGS[code]}."
        case FrostAhead(nights):
            said = listed([in_words(night) for night in nights])
            return f"Frost in the outlook, while shoots are green: night of {said}. What it would do is not known."
        case WeatherStale(through):
            return (
                f"No temperatures have come since {in_words(through)}: the forecast rests on older weather."
            )
    assert_never(news)


def news_title(vineyard: str, news: Sequence[News]) -> str:
    """A line for all of it: the vineyard, and how much there is."""
    return f"{vineyard}: {len(news)} {'change' if len(news) == 1 else 'changes'} in the forecast"


def news_text(vineyard: str, day: str, news: Sequence[News]) -> str:
    """All of it, as a letter."""
    lines = "\n".join(f"- {news_words(each)}" for each in news)
    return f"{vineyard}, {day}\n\n{lines}\n\nBloom dates are forecasts with an error. {LABELS}\n"


def _when(spans: Sequence[Span]) -> str:
    return "" if not spans else " " + listed([from_to(*span) for span in spans])
