"""What a key may do."""

from __future__ import annotations

from service.words.language import N_, _

MAY = {
    "invitation": N_("add one phone"),
    "calendar": N_("show one calendar and its news"),
    "read": N_("read"),
    "record": N_("record visits"),
    "manage": N_("manage everything"),
}


def may_words(role: str) -> str:
    """What a key of a role may do, as in "record visits"."""
    return _(MAY[role])
