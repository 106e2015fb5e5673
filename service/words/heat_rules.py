"""How heat is summed, in words."""

from __future__ import annotations

import datetime as dt
from typing import assert_never

from models.bloom.rule_choice import NearestToDefault, TooFewToChoose, WhyRule
from models.records import HeatMethod, HeatRule
from models.units import fahrenheit_from_celsius
from service.words.language import N_, _
from service.words.plain import in_words

METHODS: dict[HeatMethod, str] = {
    "average": N_("average"),
    "clamped_average": N_("clamped average"),
    "single_triangle": N_("single triangle"),
    "double_triangle": N_("double triangle"),
    "single_sine": N_("single sine"),
    "double_sine": N_("double sine"),
}
CUTOFFS = {
    "horizontal": N_("horizontal cutoff"),
    "intermediate": N_("intermediate cutoff"),
    "vertical": N_("vertical cutoff"),
}


def rule_words(rule: HeatRule, *, us: bool) -> str:
    """A heat rule as in "average above 10 °C, up to 30 °C (horizontal cutoff), from 1 February on"."""

    def degrees(celsius: float) -> str:
        return f"{fahrenheit_from_celsius(celsius):g} °F" if us else f"{celsius:g} °C"

    told = _("{method} above {base}", method=_(METHODS[rule.method]), base=degrees(rule.base_c))
    if rule.upper_c is not None:
        told += _(", up to {upper}", upper=degrees(rule.upper_c))
        told += f" ({_(CUTOFFS[rule.cutoff])})" if rule.cutoff != "none" else ""
    start = _("the season's first day")
    if rule.accumulate_from is not None:
        start = in_words(dt.date.fromisoformat(f"2001-{rule.accumulate_from}"))
    return told + _(", from {date} on", date=start)


def why_chosen(why: WhyRule | str) -> str:
    """Why a rule was chosen, as part of a sentence."""
    match why:
        case str():
            return why
        case TooFewToChoose(seasons, needed):
            return _(
                "trade default: {seasons} seasons are too few to choose by (from {needed} on)",
                seasons=seasons,
                needed=needed,
            )
        case NearestToDefault() as of:
            default = _("not comparable")
            if of.default_behind is not None and of.default_error is not None:
                default = _(
                    "{behind} behind (standard error {error})",
                    behind=f"{of.default_behind:.2f}",
                    error=f"{of.default_error:.2f}",
                )
            return _(
                "nearest to the trade default among {close} of {candidates} candidates whose leave-one-season-out log "
                "score over {seasons} seasons is the best or within {negligible} of it; the trade default is {default}",
                close=of.close,
                candidates=of.candidates,
                seasons=of.seasons,
                negligible=f"{of.negligible:g}",
                default=default,
            )
    assert_never(why)
