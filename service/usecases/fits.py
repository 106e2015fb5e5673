"""Fit the thresholds of a grower's cultivars, keep fits, and take over those of others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from models.bloom.search import choose_rule
from models.bloom.site import Site
from models.bloom.thresholds import fit_thresholds
from models.errors import BadInput, NotEnoughData, Problem, Remedy
from models.records import GapRule, HeatRule
from models.stages import BLOOM_STAGES, in_season_order
from service.store.engine import Store
from service.store.repositories import Repositories
from service.usecases.fit_documents import FitDocument, SavedFit, from_document, to_document
from service.usecases.shared_fits import from_another_grower
from service.usecases.vineyard_records import VineyardRecords, load_vineyards

# Budbreak teaches bloom, and bloom fruit set, where they were observed.
DEFAULT_STAGES = ("budbreak", *BLOOM_STAGES, "fruit_set")


@dataclass(frozen=True)
class FitOptions:
    """How to fit.

    Attributes
    ----------
    stages : tuple of str or None
        Stage keys; None for those up to fruit set. What was never observed is left out.
    exclude_seasons : tuple of int
        Season labels to leave out.
    rule : HeatRule or None
        How heat is summed; None for the trade default, or what the search finds.
    search : bool or None
        Whether to choose the rule by how well it predicts seasons left out; None: where no rule is given.
    """

    stages: tuple[str, ...] | None = None
    exclude_seasons: tuple[int, ...] = ()
    rule: HeatRule | None = None
    gap_rule: GapRule = "fill_short"
    search: bool | None = None


def fit_vineyards(vineyards: Sequence[VineyardRecords], options: FitOptions) -> SavedFit:
    """Fit the thresholds of all cultivars of these vineyards.

    Observations of a season that is not over are left to that season's forecast, which learns from them; they
    are fitted only where there is no other season.

    Raises
    ------
    BadInput
        If a stage is unknown, or both a rule and a search are asked for.
    NotEnoughData
        If nothing is left to fit.
    """
    if options.rule is not None and options.search:
        problem = "the search chooses the heat rule: leave heat out, or say search: false"
        raise BadInput("both a heat rule and a search for one are asked for", [Problem("search", problem)])
    stages = in_season_order(DEFAULT_STAGES if options.stages is None else options.stages)
    excluded = frozenset(options.exclude_seasons)
    every = [vineyard.site.without(excluded) for vineyard in vineyards]
    past = [site.before(site.running_season) for site in every]
    running: set[int] = set()
    if _usable(past, stages):
        for site in every:
            running |= {seen.season for seen in site.teaching if seen.season >= site.running_season}
        every = past
    sites = [site for site in every if site.teaching]
    usable = _usable(sites, stages)
    if not usable:
        raise _nothing_to_fit(vineyards, stages, excluded)
    observed = tuple(stage for stage in stages if stage in usable)
    search = None
    rule = HeatRule() if options.rule is None else options.rule
    if options.search or (options.search is None and options.rule is None):
        search = choose_rule(sites, stages=observed, gap_rule=options.gap_rule)
        rule = search.rule
    fit = fit_thresholds(sites, stages=observed, rule=rule, gap_rule=options.gap_rule)
    return SavedFit(
        fit,
        vineyards=tuple(vineyard.key for vineyard in vineyards),
        exclude_seasons=tuple(sorted(excluded)),
        running_seasons=tuple(sorted(running)),
        search=search,
    )


def _usable(sites: Sequence[Site], stages: Sequence[str]) -> set[str]:
    """The stages of which a date is left to fit."""
    return {
        seen.stage for site in sites for seen in site.teaching if seen.by is not None and seen.stage in stages
    }


def _nothing_to_fit(
    vineyards: Sequence[VineyardRecords], stages: Sequence[str], excluded: frozenset[int]
) -> NotEnoughData:
    if not vineyards:
        return NotEnoughData(
            "there is no vineyard whose station has temperatures", remedy=Remedy.ADD_TEMPERATURES
        )
    left = " outside the excluded seasons" if excluded else ""
    names = ", ".join(vineyard.key for vineyard in vineyards)
    return NotEnoughData(
        f"no date of {', '.join(stages)} was observed{left} in {names}", remedy=Remedy.LOG_BLOOM
    )


def make_fit(
    store: Store, grower: str, *, vineyards: Sequence[str] | None, options: FitOptions
) -> tuple[SavedFit, bool]:
    """Fit from the store and keep the fit; the same data and options make the same fit.

    Nothing is locked while the model runs.

    Returns
    -------
    fit : SavedFit
    new : bool
        False if it was kept before.

    Raises
    ------
    NotFound
        If a vineyard does not exist.
    BadInput, NotEnoughData
        As `fit_vineyards` and `load_vineyards` do.
    """
    saved = fit_stored(store, grower, vineyards=vineyards, options=options)
    with store.transaction(grower) as records:
        return saved, keep_fit(records, saved)


def fit_stored(
    store: Store, grower: str, *, vineyards: Sequence[str] | None, options: FitOptions
) -> SavedFit:
    """Fit from the store, as `make_fit` does, and keep nothing yet."""
    with store.transaction(grower, read_only=True) as records:
        loaded = load_vineyards(records, vineyards)
    return fit_vineyards(loaded, options)


def keep_fit(records: Repositories, saved: SavedFit) -> bool:
    """Keep a fit; False if it was kept before."""
    return records.fits.add(saved.id, to_document(saved))


def import_fit(records: Repositories, document: FitDocument) -> tuple[SavedFit, bool]:
    """Take over a fit that another grower shared.

    Raises
    ------
    BadInput
        If the document is no fit that a forecast could be made with.
    """
    saved = from_another_grower(document)
    return saved, keep_fit(records, saved)


def get_fit(records: Repositories, id: str | None, *, vineyard: str | None = None) -> SavedFit:
    """A kept fit; by default the newest.

    For a ``vineyard`` the newest one that was made from it or taken over from another grower, if there is any:
    a fit of the grower's other vineyards need not know its cultivars.

    Raises
    ------
    NotFound
        If there is no such fit.
    NotEnoughData
        If none is asked for and there is none.
    """
    if id is not None:
        return from_document(records.fits.get(id))
    newest = [summary.id for summary in records.fits.all()]
    if not newest:
        raise NotEnoughData("there is no fit yet", remedy=Remedy.MAKE_FIT)
    if vineyard is not None:
        for candidate in newest:
            saved = from_document(records.fits.get(candidate))
            if saved.imported or vineyard in saved.vineyards:
                return saved
    return from_document(records.fits.get(newest[0]))
