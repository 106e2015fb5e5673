"""Whether a vineyard's planting is laid out so that its pistillate vines get pollen."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial

from models.records import Planting
from models.vineyard.flower_days import POLLEN_DAYS, RECEPTIVE_DAYS
from models.vineyard.layout_rules import RowsAlong
from models.vineyard.planting_check import PlantingCheck, planting_check
from service.store.repositories import Repositories
from service.usecases.fit_documents import SavedFit
from service.usecases.fit_in_use import fit_for
from service.usecases.vineyard_records import VineyardRecords, load_vineyard


@dataclass(frozen=True)
class CheckOptions:
    """What counts as covered, and along which axis rows of vines run."""

    enough_share: float = 0.8
    enough_seasons: float = 0.8
    rows_along: RowsAlong | None = None


@dataclass(frozen=True, eq=False)
class VineyardCheck:
    """A vineyard's planting, checked with a fit; without one only its layout, and no records are needed."""

    planting: Planting
    vineyard: VineyardRecords | None
    fit: SavedFit | None
    check: PlantingCheck
    options: CheckOptions


def check_planting(
    records: Repositories, vineyard: str, *, fit: str | None, options: CheckOptions
) -> VineyardCheck:
    """Check a vineyard of the store, by default with its fit in use.

    Where none is in use and none is named, only its layout is checked: that needs no fit, station or weather.
    All cultivars of the grower are tried where a block is exposed, those that are planted nowhere too.

    Raises
    ------
    NotFound
        If there is no such vineyard or fit.
    BadInput, NotEnoughData
        As `planting_check` does and, with a fit, `load_vineyard`.
    """
    planting = records.blocks.planting(vineyard)
    every = {cultivar.key: cultivar for cultivar in records.cultivars.all()}
    check = partial(
        planting_check,
        replace(planting, cultivars=every),
        enough_share=options.enough_share,
        enough_seasons=options.enough_seasons,
        rows_along=options.rows_along,
    )
    if fit is None and records.fits_in_use.get(vineyard) is None:
        return VineyardCheck(planting, None, None, check(None, None), options)
    loaded, saved = load_vineyard(records, vineyard), fit_for(records, vineyard, fit)
    found = check(
        loaded.joined_to(saved.fit),
        loaded.site,
        receptive_days=RECEPTIVE_DAYS if loaded.receptive_days is None else loaded.receptive_days,
        pollen_days=POLLEN_DAYS if loaded.pollen_days is None else loaded.pollen_days,
    )
    return VineyardCheck(planting, loaded, saved, found, options)
