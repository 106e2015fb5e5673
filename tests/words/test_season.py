"""The sentence that a season begins with."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest

from models.vineyard.season_state import FirstLack, NextBloom, SeasonState
from service.words.forecast import skill_words
from service.words.season import state_words

NOTHING = SeasonState(
    as_of=dt.date(2026, 5, 20),
    in_bloom=(),
    presumed=(),
    due=(),
    over=(),
    unknown=(),
    next=None,
    blocks=4,
    pistillate=0,
    lacking=(),
    perhaps=(),
    first_lack=None,
)
NEXT = NextBloom("west-4", dt.date(2026, 5, 28), dt.date(2026, 5, 26), dt.date(2026, 5, 30))


@pytest.mark.parametrize(
    ("stands", "said"),
    [
        (
            {"in_bloom": ("west-1",), "due": ("west-2", "west-3"), "next": NEXT},
            "West-1 is in bloom, west-2 and west-3 are due any day; next comes west-4 on 28 May (26 to 30).",
        ),
        ({"next": NEXT}, "No block is in bloom yet; first comes west-4 on 28 May (26 to 30)."),
        ({"over": ("a",), "next": NEXT}, "No block is in bloom now; next comes west-4 on 28 May (26 to 30)."),
        ({"presumed": ("a", "b", "c", "d", "e")}, "A, b, c and 2 more are likely in bloom, though not seen."),
        ({"unknown": ("a",)}, "When the blocks bloom is not known yet."),
        ({"over": ("a", "b", "c", "d"), "pistillate": 2}, "Bloom is over."),
    ],
)
def test_bloom(stands: dict[str, Any], said: str) -> None:
    assert state_words(replace(NOTHING, **stands)) == said


@pytest.mark.parametrize(
    ("stands", "said"),
    [
        ({"pistillate": 7}, "No pistillate block is likely to lack pollen from here on."),
        ({"pistillate": 7, "perhaps": ("a",)}, "Pollen may run short in a."),
        (
            {"lacking": ("a", "b"), "perhaps": ("c",), "first_lack": FirstLack("b", dt.date(2026, 6, 5))},
            "2 of 7 pistillate blocks are likely to lack pollen, first b from 5 June; 1 more may.",
        ),
        (
            {"lacking": ("a",), "first_lack": FirstLack("a", dt.date(2026, 5, 20))},
            "1 of 7 pistillate blocks is likely to lack pollen, a now.",
        ),
        (
            {"pistillate": 1, "lacking": ("a",), "first_lack": FirstLack("a", None)},
            "The only pistillate block is likely to lack pollen, a.",
        ),
    ],
)
def test_pollen(stands: dict[str, Any], said: str) -> None:
    state = replace(NOTHING, **{"in_bloom": ("x",), "pistillate": 7, **stands})
    assert state_words(state) == f"X is in bloom. {said}"


@pytest.mark.parametrize(
    ("rmse", "verdict"),
    [
        (3.0, "The forecast is worth planning by."),
        (5.5, "The forecast is a little better than the usual date."),
        (6.5, "So far ahead the usual date is as good as the forecast."),
    ],
)
def test_what_the_figures_of_a_hindcast_mean(rmse: float, verdict: str) -> None:
    said = skill_words("full_bloom", 14, n=40, rmse=rmse, usual_rmse=6.0, coverage=0.775, interval=0.8)
    assert said == (
        f"14 days ahead, full bloom was forecast {rmse} days off on the whole, the cultivar's usual date 6.0 days; "
        f"of 40 dates the 80 % interval held 78 %. {verdict}"
    )
