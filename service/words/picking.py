"""Picking as a grower reads it."""

from __future__ import annotations

from models.bloom.forecast import BlockForecast
from service.words.forecast import why_none
from service.words.language import _


def taste_first() -> str:
    """What a date of ripeness leaves out. Common practice, no source."""
    return _(
        "Dates of ripeness follow heat alone: crop, water and leaves move them. Taste and measure before you pick. One "
        "crew that works every day is taken for granted."
    )


def why_not_known(block: BlockForecast) -> str:
    """Why it is not known when a block is ripe, as part of a sentence."""
    if block.basis == "none":
        return why_none(block) or _("the block is not forecast")
    if "harvest" not in block.stages:
        return _("the fit does not know harvest: log its dates, and make a fit whose stages name it")
    return _("harvest may not come this season")
