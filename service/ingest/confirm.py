"""Checks of plausibility, and the words by which a sender overrides them."""

from __future__ import annotations

from collections.abc import Collection
from typing import Literal

Confirm = Literal["units", "dates", "latitude"]
Confirmed = Collection[Confirm]


def overridden_by(word: Confirm) -> str:
    """What a refusal says of the way past it."""
    return f"if it is right all the same, send it with confirm={word}"
