"""What somebody who knew a stage's days would have noted: bloom logs that say so."""

from __future__ import annotations

from collections.abc import Iterable

from models.records import BloomLogRow, StageInterval


def logged(seen: Iterable[StageInterval]) -> tuple[BloomLogRow, ...]:
    """A log of which these intervals are made; both ends of each must be known."""
    rows = []
    for one in seen:
        assert one.after is not None
        assert one.by is not None
        days = (one.by - one.after).days
        rows.append(BloomLogRow(one.season, one.cultivar, one.block, {one.stage: one.by}, days))
    return tuple(rows)
