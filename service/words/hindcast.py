"""How a hindcast's figures came about."""

from __future__ import annotations

from models.bloom.hindcast import FIRST_SEASONS, KNOWN_WEATHER, OTHERS_SEEN, SEEN_DAYS_BEFORE
from service.words.forecast import lead_words
from service.words.language import _


def how_made(*, searched: bool, interval: float) -> str:
    """In words; ``searched``: the heat rule was chosen for each season from the others."""
    rule = (
        _("its heat rule chosen, and its thresholds fitted,")
        if searched
        else _(
            "with one heat rule that was given (if you chose it by these same seasons, the figures flatter it), its "
            "thresholds fitted"
        )
    )
    return _(
        "Each season was forecast from a fit that has not seen it, {rule} in two ways. Past only: from the seasons "
        "before it alone, their dates and their weather, as you would have got it then; scored are the seasons after "
        "the first {first} (after the first half, where there are fewer than {twice}). Leave one season out: from all "
        "other seasons; later ones teach thresholds, spreads and weather as earlier ones do, what drifts from season "
        "to season is taken from earlier ones only. At a lead of n days the forecast was made n days before the "
        "stage's mean date in those seasons, from the temperatures of the days before and from their weather for the "
        "rest, without a weather outlook and without anything seen in the season. '{known}': the whole season's "
        "temperatures were given, but nothing seen in it. '{seen}': besides these, all that had been seen on the day "
        "of the first block at the stage; scored are the blocks that came at least {days} days later. Errors are "
        "forecast minus observed, in days. A date that was seen at a visit is known only to lie after the visit before "
        "and by this one: its error is told from the middle of these days, and CRPS and coverage are those of the "
        "interval. Skill is 1 - CRPS / CRPS of the cultivar's own dates in the seasons learned from: 1 is perfect, 0 "
        "no better than those dates. Coverage is the share of dates within the {interval} % interval. By season: every "
        "season counts alike, however many dates it has; else every date does. Ranges hold 90 % of what comes when the "
        "seasons are drawn again at random.",
        rule=rule,
        first=FIRST_SEASONS,
        twice=2 * FIRST_SEASONS,
        known=lead_words(KNOWN_WEATHER),
        seen=lead_words(OTHERS_SEEN),
        days=SEEN_DAYS_BEFORE,
        interval=f"{interval * 100:g}",
    )
