"""What long work is at, and why it ended."""

from __future__ import annotations

SAID = {
    "started": "started",
    "fitting": "fitting",
    "choosing": "heat rules to choose from",
    "done": "done",
    "cancelled": "cancelled",
    "stopped": "the service was stopped before the job had ended; ask for it again",
    "crashed": "the service ended before the job had; ask for it again",
    "lost": "a process ended in the midst of the work, perhaps for want of memory; ask for it again",
    "broken": "something went wrong on our side; it has been noted",
}
COUNTED = {"seasons", "tiles", "vineyards"}


def job_words(message: str) -> str:
    """In words: a code, with how many of how many after what is counted. Other text, as of a refusal, stays."""
    code, _, counts = message.partition(" ")
    if code in COUNTED and counts:
        done, _, among = counts.partition("/")
        return f"{int(done):,} of {int(among):,} {code}"
    return SAID.get(message, message)
