"""How a season stands, in a sentence or two."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from models.vineyard.season_state import SeasonState, Standing
from service.words.plain import in_words, interval_words, listed, sentence

MOST_NAMED = 3

STANDINGS: dict[Standing, str] = {
    "unknown": "not known",
    "to_come": "to come",
    "due": "due any day",
    "presumed": "likely in bloom",
    "in_bloom": "in bloom",
    "over": "over",
}


def state_words(state: SeasonState) -> str:
    """Which blocks bloom, and which will lack pollen."""
    told = [sentence(_bloom(state)), *(sentence(said) for said in _pollen(state))]
    return " ".join(f"{said}." for said in told)


def _bloom(state: SeasonState) -> str:
    now = [
        f"{few(blocks)} {_is(blocks)} {how}"
        for blocks, how in (
            (state.in_bloom, "in bloom"),
            (state.presumed, "likely in bloom, though not seen"),
            (state.due, "due any day"),
        )
        if blocks
    ]
    if state.next is not None:
        span = interval_words(state.next.median, state.next.low, state.next.high)
        which = "next" if now or state.over else "first"
        start = f"{which} comes {state.next.block} on {in_words(state.next.median)}{span and f' ({span})'}"
        return ", ".join(now) + f"; {start}" if now else f"no block is in bloom{_yet(state)}; {start}"
    if now:
        return ", ".join(now)
    if state.over:
        return (
            "bloom is over" if not state.unknown else f"bloom is over where it is known ({few(state.over)})"
        )
    return "when the blocks bloom is not known yet"


def _yet(state: SeasonState) -> str:
    return " now" if state.over else " yet"


def _pollen(state: SeasonState) -> Iterator[str]:
    if not state.pistillate or len(state.over) == state.blocks:
        return
    if state.lacking:
        count = len(state.lacking)
        blocks = f"{count} of {state.pistillate} pistillate blocks {'is' if count == 1 else 'are'}"
        if state.pistillate == 1:
            blocks = "the only pistillate block is"
        more = f"; {len(state.perhaps)} more may" if state.perhaps else ""
        yield f"{blocks} likely to lack pollen{_first(state)}{more}"
    elif state.perhaps:
        yield f"pollen may run short in {few(state.perhaps)}"
    else:
        yield "no pistillate block is likely to lack pollen from here on"


def _first(state: SeasonState) -> str:
    first = state.first_lack
    if first is None:
        return ""
    where = f", first {first.block}" if len(state.lacking) > 1 else f", {first.block}"
    if first.day is None:
        return where
    return f"{where} {'now' if first.day <= state.as_of else f'from {in_words(first.day)}'}"


def few(names: Sequence[str]) -> str:
    """Names as in "a, b, c and 4 more"."""
    more = len(names) - MOST_NAMED
    return listed(names) if more <= 0 else f"{', '.join(names[:MOST_NAMED])} and {more} more"


def _is(names: Sequence[str]) -> str:
    return "is" if len(names) == 1 else "are"
