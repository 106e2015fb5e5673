"""Why a heat rule was chosen, as codes with what they tell."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class TooFewToChoose:
    """The trade default stands: so many seasons are fewer than ``needed`` to choose by."""

    seasons: int
    needed: int
    code: Literal["too_few_to_choose"] = "too_few_to_choose"


@dataclass(frozen=True)
class NearestToDefault:
    """Of ``candidates``, ``close`` are the best or within ``negligible`` of it; the one nearest to the default.

    Scores are leave-one-season-out log scores over ``seasons``. The trade default is ``default_behind`` the best,
    with a standard error; None where it cannot be compared.
    """

    close: int
    candidates: int
    seasons: int
    negligible: float
    default_behind: float | None
    default_error: float | None
    code: Literal["nearest_to_default"] = "nearest_to_default"


WhyRule = TooFewToChoose | NearestToDefault
