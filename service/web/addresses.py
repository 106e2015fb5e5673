"""Mail addresses as people type them."""

from __future__ import annotations

import re

_PART = r"[^\s@<>,;:\"\\]"
_PLAIN = re.compile(rf"{_PART}{{1,64}}@{_PART}+\.[^\s@<>,;:\"\\.]+")
LONGEST = 200


def mail_address(text: str) -> str:
    """An address that a letter can be sent to, of the plain kind.

    Raises
    ------
    ValueError
        If it is none.
    """
    if not _PLAIN.fullmatch(text) or len(text) > LONGEST:
        raise ValueError("write an address as in ida@farm.example")
    return text
