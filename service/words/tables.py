"""How many rows of what there are, as a person counts them."""

from __future__ import annotations

from collections.abc import Mapping

from service.words.changes import THINGS
from service.words.language import N_, _

# What no list of changes names.
MORE = {
    "calendar_events": (N_("calendar event"), N_("calendar events")),
    "change_rows": (N_("changed row"), N_("changed rows")),
    "changes": (N_("kept change"), N_("kept changes")),
    "growers": (N_("grower"), N_("growers")),
    "jobs": (N_("job"), N_("jobs")),
    "key_growers": (N_("key-to-grower link"), N_("key-to-grower links")),
    "keys": (N_("key"), N_("keys")),
    "sessions": (N_("signed-in browser"), N_("signed-in browsers")),
    "told_days": (N_("told day"), N_("told days")),
}


def rows_told(rows: Mapping[str, int]) -> list[str]:
    """Each table with its number of rows, as in "3 vineyards"; those without any are left out."""
    nouns = {**MORE, **THINGS}
    return [f"{count} {_(nouns[table][count != 1])}" for table, count in rows.items() if count]
