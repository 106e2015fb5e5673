"""Identifiers, as growers choose them and as they stand in paths."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path

from service.usecases.documents import SLUG

StationKey = Annotated[
    str, Path(alias="station", pattern=SLUG, description="The station's identifier, a slug.")
]
CultivarKey = Annotated[
    str, Path(alias="cultivar", pattern=SLUG, description="The cultivar's identifier, a slug.")
]
VineyardKey = Annotated[
    str, Path(alias="vineyard", pattern=SLUG, description="The vineyard's identifier, a slug.")
]
BlockKey = Annotated[str, Path(alias="block", pattern=SLUG, description="The block's identifier, a slug.")]
