"""What long work is at, and why it ended."""

from __future__ import annotations

from service.words.language import N_, _

SAID = {
    "started": N_("started"),
    "fitting": N_("fitting"),
    "choosing": N_("heat rules to choose from"),
    "done": N_("done"),
    "cancelled": N_("cancelled"),
    "stopped": N_("the service was stopped before the job had ended; ask for it again"),
    "crashed": N_("the service ended before the job had; ask for it again"),
    "lost": N_("a process ended in the midst of the work, perhaps for want of memory; ask for it again"),
    "broken": N_("something went wrong on our side; it has been noted"),
}
COUNTED = {
    "seasons": N_("{done} of {among} seasons"),
    "tiles": N_("{done} of {among} tiles"),
    "vineyards": N_("{done} of {among} vineyards"),
}


def job_words(message: str) -> str:
    """In words: a code, with how many of how many after what is counted. Other text, as of a refusal, stays."""
    code, __, counts = message.partition(" ")
    if code in COUNTED and counts:
        done, __, among = counts.partition("/")
        return _(COUNTED[code], done=f"{int(done):,}", among=f"{int(among):,}")
    return _(SAID[message]) if message in SAID else message
