"""How a season stands, in a sentence or two."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from models.vineyard.season_state import SeasonState, Standing
from service.words.language import N_, _, ngettext
from service.words.plain import in_words, interval_words, listed, sentence

MOST_NAMED = 3

STANDINGS: dict[Standing, str] = {
    "unknown": N_("not known"),
    "to_come": N_("to come"),
    "due": N_("due any day"),
    "presumed": N_("likely in bloom"),
    "in_bloom": N_("in bloom"),
    "over": N_("over"),
}


def standing_words(standing: Standing) -> str:
    """How a block's bloom stands, as in "due any day"."""
    return _(STANDINGS[standing])


def state_words(state: SeasonState) -> str:
    """Which blocks bloom, and which will lack pollen."""
    told = [sentence(_bloom(state)), *(sentence(said) for said in _pollen(state))]
    return " ".join(f"{said}." for said in told)


def _bloom(state: SeasonState) -> str:
    now = []
    if state.in_bloom:
        now.append(_are(N_("{blocks} is in bloom"), N_("{blocks} are in bloom"), state.in_bloom))
    if state.presumed:
        one = N_("{blocks} is likely in bloom, though not seen")
        now.append(_are(one, N_("{blocks} are likely in bloom, though not seen"), state.presumed))
    if state.due:
        now.append(_are(N_("{blocks} is due any day"), N_("{blocks} are due any day"), state.due))
    if state.next is not None:
        span = interval_words(state.next.median, state.next.low, state.next.high)
        values = {
            "block": state.next.block,
            "date": in_words(state.next.median) + (f" ({span})" if span else ""),
        }
        if now:
            return ", ".join(now) + "; " + _("next comes {block} on {date}", **values)
        if state.over:
            return _("no block is in bloom now; next comes {block} on {date}", **values)
        return _("no block is in bloom yet; first comes {block} on {date}", **values)
    if now:
        return ", ".join(now)
    if state.over:
        if not state.unknown:
            return _("bloom is over")
        return _("bloom is over where it is known ({blocks})", blocks=few(state.over))
    return _("when the blocks bloom is not known yet")


def _pollen(state: SeasonState) -> Iterator[str]:
    if not state.pistillate or len(state.over) == state.blocks:
        return
    if state.lacking:
        if state.pistillate == 1:
            said = _("the only pistillate block is likely to lack pollen")
        else:
            said = ngettext(
                "{count} of {all} pistillate blocks is likely to lack pollen",
                "{count} of {all} pistillate blocks are likely to lack pollen",
                len(state.lacking),
                all=state.pistillate,
            )
        count = len(state.perhaps)
        more = "; " + ngettext("{count} more may", "{count} more may", count) if count else ""
        yield f"{said}{_first(state)}{more}"
    elif state.perhaps:
        yield _("pollen may run short in {blocks}", blocks=few(state.perhaps))
    else:
        yield _("no pistillate block is likely to lack pollen from here on")


def _first(state: SeasonState) -> str:
    first = state.first_lack
    if first is None:
        return ""
    where = first.block
    if first.day is not None and first.day <= state.as_of:
        where = _("{block} now", block=where)
    elif first.day is not None:
        where = _("{block} from {date}", block=where, date=in_words(first.day))
    return ", " + (_("first {block}", block=where) if len(state.lacking) > 1 else where)


def few(names: Sequence[str]) -> str:
    """Names as in "a, b, c and 4 more"."""
    more = len(names) - MOST_NAMED
    if more <= 0:
        return listed(names)
    return _("{some} and {more} more", some=", ".join(names[:MOST_NAMED]), more=more)


def _are(one: str, many: str, names: Sequence[str]) -> str:
    return _(one if len(names) == 1 else many, blocks=few(names))
