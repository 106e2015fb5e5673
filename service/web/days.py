"""Days as they are asked for."""

from __future__ import annotations

import datetime as dt
import re
from typing import Annotated

from pydantic import BeforeValidator


def _written_out(value: object) -> object:
    """A number would be taken for seconds since 1970."""
    if isinstance(value, int | float) or (isinstance(value, str) and not re.match(r"\d{4}-\d\d-\d\d", value)):
        raise ValueError(f"{value!r} is not a day; write it as 2026-05-20")
    return value


WrittenOut = BeforeValidator(_written_out)
IsoDate = Annotated[dt.date, WrittenOut]
