"""How heat is summed, in words."""

from __future__ import annotations

import datetime as dt
from typing import assert_never

from models.bloom.rule_choice import NearestToDefault, TooFewToChoose, WhyRule
from models.records import HeatMethod, HeatRule
from models.units import fahrenheit_from_celsius
from service.words.plain import in_words

METHODS: dict[HeatMethod, str] = {
    "average": "average",
    "clamped_average": "clamped average",
    "single_triangle": "single triangle",
    "double_triangle": "double triangle",
    "single_sine": "single sine",
    "double_sine": "double sine",
}


def rule_words(rule: HeatRule, *, us: bool) -> str:
    """A heat rule as in "average above 10 °C, up to 30 °C (horizontal cutoff), from 1 February on"."""

    def degrees(celsius: float) -> str:
        return f"{fahrenheit_from_celsius(celsius):g} °F" if us else f"{celsius:g} °C"

    told = f"{METHODS[rule.method]} above {degrees(rule.base_c)}"
    if rule.upper_c is not None:
        told += f", up to {degrees(rule.upper_c)}"
        told += f" ({rule.cutoff} cutoff)" if rule.cutoff != "none" else ""
    start = "the season's first day"
    if rule.accumulate_from is not None:
        start = in_words(dt.date.fromisoformat(f"2001-{rule.accumulate_from}"))
    return f"{told}, from {start} on"


def why_chosen(why: WhyRule | str) -> str:
    """Why a rule was chosen, as part of a sentence."""
    match why:
        case str():
            return why
        case TooFewToChoose(seasons, needed):
            return f"trade default: {seasons} seasons are too few to choose by (from {needed} on)"
        case NearestToDefault() as of:
            default = "not comparable"
            if of.default_behind is not None and of.default_error is not None:
                default = f"{of.default_behind:.2f} behind (standard error {of.default_error:.2f})"
            return (
                f"nearest to the trade default among {of.close} of {of.candidates} candidates whose "
                f"leave-one-season-out log score over {of.seasons} seasons is the best or within {of.negligible:g} of "
                f"it; the trade default is {default}"
            )
    assert_never(why)
