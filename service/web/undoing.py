"""Who may undo a change."""

from __future__ import annotations

from fastapi import HTTPException

from service.store.records import Change
from service.usecases.keys import Asker
from service.words.language import _
from service.words.roles import may_words

RECORDED = ("visits", "set_counts", "crop_counts", "frosted_blocks")
"""Tables that a key of role ``record`` writes."""


def may_undo(who: Asker, change: Change) -> bool:
    """Whether somebody may undo a change: all that manage, and of others what they have recorded themselves.

    A change counts as theirs if it is of their name and of what such a key may write: another key may have its name.
    """
    own = change.by == who.name and all(each["table"] in RECORDED for each in change.params["written"])
    return who.may("manage") or (who.may("record") and own)


def check_may_undo(who: Asker, change: Change) -> None:
    """Raises HTTPException (403)."""
    if not may_undo(who, change):
        raise HTTPException(
            403,
            _(
                "a key that may {needed} is needed for this change; this one may {may}, and undo what it recorded "
                "itself",
                needed=may_words("manage"),
                may=may_words(who.role),
            ),
        )
