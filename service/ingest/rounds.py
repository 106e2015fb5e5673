"""What is said of how often the rows of a bloom log were looked at."""

from __future__ import annotations

from collections.abc import Iterable

from models.bloom.rounds import betrayed_round
from models.records import BloomLogRow


def how_often_assumed(rows: Iterable[BloomLogRow], *, told: bool) -> list[str]:
    """What is said of a log's looks: what was assumed where it does not tell, and what its dates betray."""
    every = betrayed_round(rows)
    if every is not None:
        rounds = "once a week" if every == 7 else "twice a week"
        return [
            f"the dates fall on the same weekdays, as if the rows were walked {rounds}, yet they count as looked at "
            f"every day; then bloom comes out days late. Say how often with checked_every_days={every}"
        ]
    if told:
        return []
    return [
        "the log does not say how often the rows were looked at: every day was assumed; "
        "otherwise say it with checked_every_days=7 or the like"
    ]
