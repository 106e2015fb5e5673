"""When any block is in bloom, as a beekeeper reads it."""

from __future__ import annotations

from models.vineyard.whole_bloom import WholeBloom
from service.words.plain import in_words


def window_words(found: WholeBloom) -> str:
    """From when to when bees may be in the rows, and whose rules come first."""
    first, last = found.first, found.last
    return (
        f"Some block is likely in bloom from {in_words(first.median)} to {in_words(last.median)}; it may begin on "
        f"{in_words(first.low)} and last until {in_words(last.high)}. Bees are in the rows then: product labels and "
        "local rules on insecticides come first, and a day outside is no permission. Ask the local extension office."
    )
