"""What a key may do."""

from __future__ import annotations

MAY = {
    "invitation": "add one phone",
    "calendar": "show one calendar and its news",
    "read": "read",
    "record": "record visits",
    "manage": "manage everything",
}
