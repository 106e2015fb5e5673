"""Fit the thresholds of a grower's cultivars, keep fits, and take over those of others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from models.bloom.search import SHORTEST_SUM_DAYS, choose_rule
from models.bloom.site import Site
from models.bloom.sum_start import passed_at_start
from models.bloom.thresholds import Fit, fit_thresholds
from models.errors import BadInput, NotEnoughData, Problem, Remedy
from models.records import GapRule, HeatRule, check_base
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


class Observations(NamedTuple):
    """What a fit is made from: sites, the stages that were seen there, and the seasons left to their forecast."""

    sites: tuple[Site, ...]
    stages: tuple[str, ...]
    running_seasons: tuple[int, ...]


def choose_observations(vineyards: Sequence[VineyardRecords], options: FitOptions) -> Observations:
    """What of the vineyards' past is to be fitted. Quick; raises what `fit_vineyards` raises before it computes."""
    if options.rule is not None:
        check_base(options.rule.base_c, "heat.base_c")
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
    return Observations(tuple(sites), observed, tuple(sorted(running)))


def fit_vineyards(vineyards: Sequence[VineyardRecords], options: FitOptions) -> SavedFit:
    """Fit the thresholds of all cultivars of these vineyards.

    Observations of a season that is not over are left to that season's forecast, which learns from them; they
    are fitted only where there is no other season.

    Raises
    ------
    BadInput
        If a stage is unknown, both a rule and a search are asked for, or the sum of heat tells nothing under
        the rule: its base is out of bounds, or every season passes a threshold soon after its start.
    NotEnoughData
        If nothing is left to fit.
    """
    chosen = choose_observations(vineyards, options)
    search = None
    rule = HeatRule() if options.rule is None else options.rule
    if options.search or (options.search is None and options.rule is None):
        search = choose_rule(chosen.sites, stages=chosen.stages, gap_rule=options.gap_rule)
        rule = search.rule
    fit = fit_thresholds(chosen.sites, stages=chosen.stages, rule=rule, gap_rule=options.gap_rule)
    _check_sum(fit, chosen.sites)
    known = {key: name for vineyard in vineyards for key, name in vineyard.species.items()}
    species = tuple(known.get(cultivar) for cultivar in fit.cultivars)
    if any(species):
        fit = replace(fit, species=species)
    return SavedFit(
        fit,
        vineyards=tuple(vineyard.key for vineyard in vineyards),
        exclude_seasons=tuple(sorted(set(options.exclude_seasons))),
        running_seasons=chosen.running_seasons,
        search=search,
    )


def _check_sum(fit: Fit, sites: Sequence[Site]) -> None:
    """Refuse a sum of heat that cannot tell one spring from another."""
    passed = passed_at_start(fit, sites)
    if passed:
        problems = [
            Problem(
                "heat",
                f"every past season passes the threshold of {cultivar} to {stage} within {SHORTEST_SUM_DAYS} days "
                "of the start of the sum",
            )
            for cultivar, stage in passed
        ]
        raise BadInput(
            "under this heat rule the sum of heat tells nothing of when bloom comes; take an earlier "
            "accumulate_from or another base, or let the search choose",
            problems,
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


@dataclass(frozen=True, eq=False)
class FitTask:
    """All that a fit is made from; nothing is read while it is made.

    Attributes
    ----------
    named : bool
        Whether the vineyards were named, or are all that there are.
    use : bool
        Whether the fit is put in use, as far as it may be.
    knows_change : int
        Number of the last change of the data.
    """

    vineyards: tuple[VineyardRecords, ...]
    options: FitOptions
    named: bool
    use: bool
    knows_change: int

    def fit(self) -> SavedFit:
        """Make the fit. Raises what `fit_vineyards` raises."""
        return fit_vineyards(self.vineyards, self.options)


def plan_fit(
    store: Store, grower: str, *, vineyards: Sequence[str] | None, options: FitOptions, use: bool = True
) -> FitTask:
    """Read what a fit is to be made from: the vineyards that are named, or all.

    Raises
    ------
    NotFound
        If a vineyard does not exist.
    BadInput, NotEnoughData
        As `load_vineyards` does.
    """
    with store.transaction(grower, read_only=True) as records:
        loaded = load_vineyards(records, vineyards)
        return FitTask(loaded, options, vineyards is not None, use, records.journal.last())


def make_fit(
    store: Store, grower: str, *, vineyards: Sequence[str] | None, options: FitOptions, use: bool = True
) -> tuple[SavedFit, bool]:
    """Fit from the store and keep the fit (see `keep_fit`); the same data and options make the same fit.

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
    task = plan_fit(store, grower, vineyards=vineyards, options=options, use=use)
    saved = task.fit()
    with store.transaction(grower) as records:
        return saved, keep_fit(records, saved, task)


def keep_fit(records: Repositories, saved: SavedFit, task: FitTask) -> bool:
    """Keep a fit that was made, and put it in use; False if it was kept before.

    It is put in use for the vineyards that were named; one of all vineyards for those that have none in use.
    One that leaves seasons out, or knows no start of bloom, answers another question: it is put in use by hand.
    """
    new = records.fits.add(saved.id, to_document(saved), knows_change=task.knows_change)
    if task.use and not saved.exclude_seasons and "bloom_start" in saved.fit.stages:
        served = set() if task.named else records.fits_in_use.vineyards().keys()
        here = {vineyard.key for vineyard in records.vineyards.all()}
        for key in sorted(here.intersection(saved.vineyards) - served):
            records.fits_in_use.put(key, saved.id)
    return new


def users_of(records: Repositories, fit: str) -> list[str]:
    """The vineyards that have a fit in use, by key."""
    return sorted(key for key, used in records.fits_in_use.vineyards().items() if used == fit)


def import_fit(records: Repositories, document: FitDocument) -> tuple[SavedFit, bool]:
    """Take over a fit that another grower shared; it is put in use by hand.

    Raises
    ------
    BadInput
        If the document is no fit that a forecast could be made with.
    """
    saved = from_another_grower(document)
    return saved, records.fits.add(saved.id, to_document(saved))


def get_fit(records: Repositories, id: str) -> SavedFit:
    """A kept fit. Raises NotFound."""
    return from_document(records.fits.get(id))
