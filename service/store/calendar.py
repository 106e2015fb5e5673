"""What the calendar feed has told last: it counts a change of an event only if it knows what stood there."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from service.store.owned import OwnedByGrower
from service.store.tables import CalendarEventRow, VineyardRow


@dataclass(frozen=True)
class KeptEvent:
    """An event as it was told last: its key within vineyard and season, its revision, and what it said. [UTC]"""

    key: str
    sequence: int
    last_modified: dt.datetime
    content: dict[str, Any]


class CalendarEvents(OwnedByGrower):
    """The events of each vineyard's feed, by season."""

    def all(self, vineyard: str, season: int) -> tuple[KeptEvent, ...]:
        """By key. Raises NotFound (vineyard)."""
        self._find(VineyardRow, "vineyard", key=vineyard)
        events = [
            KeptEvent(row["event"], row["sequence"], row["last_modified"], row["content"])
            for row in self._select(CalendarEventRow, vineyard=vineyard, season=season)
        ]
        return tuple(sorted(events, key=lambda event: event.key))

    def put(self, vineyard: str, season: int, events: Sequence[KeptEvent]) -> None:
        """Keep events, each in the place of the one with its key. Raises NotFound (vineyard)."""
        self._find(VineyardRow, "vineyard", key=vineyard)
        for event in events:
            values = {
                "sequence": event.sequence,
                "last_modified": event.last_modified,
                "content": event.content,
            }
            self._put(CalendarEventRow, values, vineyard=vineyard, season=season, event=event.key)
