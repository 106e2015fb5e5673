"""How a hindcast's figures came about."""

from __future__ import annotations

from models.bloom.hindcast import KNOWN_WEATHER, OTHERS_SEEN, SEEN_DAYS_BEFORE


def how_made(*, searched: bool, interval: float) -> str:
    """In words; ``searched``: the heat rule was chosen for each season from the others."""
    rule = (
        "its heat rule chosen, and its thresholds fitted,"
        if searched
        else "with one heat rule that was given (if you chose it by these same seasons, the figures flatter it), "
        "its thresholds fitted"
    )
    return (
        f"Leave one season out: each season was forecast from a fit that has not seen it, {rule} from the other "
        "seasons alone. Later seasons teach thresholds, spreads and weather as earlier ones do; what drifts from "
        "season to season is taken from earlier ones only. "
        f"At a lead of n days the forecast was made n days before the stage's mean date in the other seasons, from "
        "the temperatures of the days before and from past seasons' weather for the rest, without a weather outlook "
        "and without anything seen in the season. "
        f"'{KNOWN_WEATHER}': the whole season's temperatures were given, but nothing seen in it. "
        f"'{OTHERS_SEEN}': besides these, all that had been seen on the day of the first block at the stage; scored "
        f"are the blocks that came at least {SEEN_DAYS_BEFORE} days later. "
        "Errors are forecast minus observed, in days. Skill is 1 - CRPS / CRPS of the cultivar's own dates in the "
        "other seasons: 1 is perfect, 0 no better than those dates. "
        f"Coverage is the share of dates within the {interval * 100:g} % interval. A date that was seen at "
        "a visit counts as that visit's day."
    )
