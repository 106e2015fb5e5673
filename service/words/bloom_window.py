"""When any block is in bloom, as a beekeeper reads it."""

from __future__ import annotations

from models.vineyard.whole_bloom import WholeBloom
from service.words.language import _
from service.words.plain import in_words


def window_words(found: WholeBloom) -> str:
    """From when to when bees may be in the rows, and whose rules come first."""
    first, last = found.first, found.last
    return _(
        "Some block is likely in bloom from {first} to {last}; it may begin on {earliest} and last until {latest}. "
        "Bees are in the rows then: product labels and local rules on insecticides come first, and a day outside is no "
        "permission. Ask the local extension office.",
        first=in_words(first.median),
        last=in_words(last.median),
        earliest=in_words(first.low),
        latest=in_words(last.high),
    )
