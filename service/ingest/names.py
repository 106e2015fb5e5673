"""Names people write, as the keys that the service uses."""

from __future__ import annotations

import re
import unicodedata

from models.errors import BadInput
from service.ingest.cells import shown

LONGEST_KEY = 63

# Letters that do not fall apart into a plain letter and a mark.
_PLAIN = str.maketrans({"ø": "o", "æ": "ae", "œ": "oe", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "ı": "i"})


def ascii_fold(text: str) -> str:
    """Lower case without accents; a character that has no plain form is left out."""
    apart = unicodedata.normalize("NFKD", text.casefold().translate(_PLAIN))
    return apart.encode("ascii", "ignore").decode("ascii")


def slug(text: str) -> str:
    """A key ``^[a-z0-9][a-z0-9-]{0,62}$`` for a name: "Amber Reach" -> "amber-reach".

    Raises
    ------
    BadInput
        If no letter or digit is left, or the key would be longer than 63 characters.
    """
    key = re.sub(r"[^a-z0-9]+", "-", ascii_fold(text)).strip("-")
    if not key:
        raise BadInput(f"{shown(text)} holds no letter a to z and no digit, so no key can be made of it")
    if len(key) > LONGEST_KEY:
        raise BadInput(f"{shown(text)} is longer than {LONGEST_KEY} characters")
    return key
