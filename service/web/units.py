"""In which units a client is answered."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import Query

Units = Literal["metric", "us"]

UnitsQuery = Annotated[
    Units, Query(alias="units", description="`us` speaks °F, °F·day and ft, in the query as in the answer.")
]
