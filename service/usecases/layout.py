"""A layout that works, for a vineyard as it stands or for a field that is to be planted."""

from __future__ import annotations

from dataclasses import dataclass, replace

from models.errors import BadInput, NotEnoughData, Problem
from models.vineyard.cautions import WildMales
from models.vineyard.flower_days import POLLEN_DAYS, RECEPTIVE_DAYS
from models.vineyard.layout import Layout, PlannedField, layout
from models.vineyard.pollen_needs import MOST_SOURCES, Spare
from models.vineyard.reach import sheds_viable_pollen
from service.store.repositories import Repositories
from service.usecases.fit_documents import SavedFit
from service.usecases.fit_in_use import fit_for
from service.usecases.vineyard_records import load_vineyard

MOST_PLACES = 2000  # more would take hours


@dataclass(frozen=True)
class LayoutAsked:
    """What a layout has to do, as `models.vineyard.layout.layout` says; ``plant`` None: all that shed viable pollen."""

    plant: tuple[str, ...] | None = None
    field: PlannedField | None = None
    keep: tuple[str, ...] = ()
    share_of_seasons: float = 1.0
    enough_share: float = 0.8
    spare: Spare = "none"
    reach_m: float | None = None
    time_limit_s: float = 20.0


@dataclass(frozen=True, eq=False)
class VineyardLayout:
    """A layout, and what it rests on; without a fit only reach was asked for. [m]"""

    fit: SavedFit | None
    layout: Layout
    asked: LayoutAsked
    reach_m: float
    receptive_days: int
    pollen_days: int
    days_assumed: bool
    wild_males: WildMales | None = None


def find_layout(
    records: Repositories, vineyard: str, asked: LayoutAsked, *, fit: str | None
) -> VineyardLayout:
    """Search a vineyard's layout with a fit, by default its fit in use; without one by reach alone.

    Raises
    ------
    NotFound
        If there is no such vineyard or fit.
    BadInput
        As `models.vineyard.layout.layout` does.
    NotEnoughData
        If a fit is named, and the vineyard's station has no temperatures.
    """
    known = records.vineyards.get(vineyard)
    if asked.field is not None and len(asked.field.places()) > MOST_PLACES:
        problem = f"it holds more than {MOST_PLACES} vines; ask for a part of it"
        raise BadInput("the field is too large", [Problem("body.field", problem)])
    saved, site = None, None
    if fit is not None or records.fits_in_use.get(vineyard) is not None:
        saved = fit_for(records, vineyard, fit)
        try:
            site = load_vineyard(records, vineyard).site
        except NotEnoughData:
            if fit is not None:
                raise
    planting = records.blocks.planting(vineyard)
    cultivars = {cultivar.key: cultivar for cultivar in records.cultivars.all()}
    plant = asked.plant
    if plant is None:
        plant = tuple(key for key, each in sorted(cultivars.items()) if sheds_viable_pollen(each))
        if saved is not None:  # what the fit doesn't know, no past season can speak for
            plant = tuple(key for key in plant if key in saved.fit.cultivars)
        plant = plant[:MOST_SOURCES]
    reach_m = planting.reach_m if asked.reach_m is None else asked.reach_m
    receptive = RECEPTIVE_DAYS if known.receptive_days is None else round(known.receptive_days)
    pollen = POLLEN_DAYS if known.pollen_days is None else round(known.pollen_days)
    found = layout(
        replace(planting, cultivars=cultivars, reach_m=reach_m),
        None if saved is None else saved.fit,
        site,
        plant=plant,
        field=asked.field,
        keep=asked.keep,
        share_of_seasons=asked.share_of_seasons,
        enough_share=asked.enough_share,
        spare=asked.spare,
        receptive_days=receptive,
        pollen_days=pollen,
        time_limit_s=asked.time_limit_s,
    )
    assumed = known.receptive_days is None or known.pollen_days is None
    return VineyardLayout(saved, found, asked, reach_m, receptive, pollen, assumed, known.wild_males)


def plantable(records: Repositories) -> dict[str, str]:
    """Names of the grower's cultivars by key, sources of viable pollen first."""
    every = sorted(records.cultivars.all(), key=lambda each: (not sheds_viable_pollen(each), each.key))
    return {each.key: each.name for each in every}
