"""What a fit that comes from another grower must hold before anything is computed with it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.errors import BadInput, Problem
from models.records import HeatRule, check_base
from models.stages import STAGE_KEYS, in_season_order
from models.units import FloatArray
from service.ingest.dates import FIRST_YEAR, LAST_YEAR
from service.usecases.fit_documents import FACTORS, FitDocument, SavedFit

ANOTHER_GROWERS = "another grower's "
"""Before the site of each season of a shared fit; no vineyard's identifier holds a blank."""

MOST_CULTIVARS = 200
HIGHEST_UPPER_C = 90  # no plant grows there, and in °F it still is a number that requests may hold
LARGEST_HEAT = 1e5  # no season sums up to that [°C·day]
LARGEST = 1e12  # of any number, so that sums and products of numbers stay finite
LEAST_EIGENVALUE = 1e-9  # of a covariance, as a share of its largest: below, it cannot be inverted


@dataclass(frozen=True)
class GivesAway:
    """What a fit's document tells of the grower, beside numbers of heat.

    ``sites`` are the stations, or vineyards without one, whose seasons it learned from; ``blocks`` those of which an
    observation was set aside.
    """

    vineyards: tuple[str, ...]
    sites: tuple[str, ...]
    cultivars: tuple[str, ...]
    species: tuple[str, ...]
    blocks: tuple[str, ...]
    seasons: tuple[int, ...]
    observations_set_aside: int


def gives_away(told: FitDocument) -> GivesAway:
    """What whoever gets the document learns."""
    used = [said.season for said in told.season_evidence]
    slips = [slip.season for slip in told.set_aside]
    seasons = {*used, *slips, *told.exclude_seasons, *told.running_seasons}
    return GivesAway(
        vineyards=tuple(told.vineyards),
        sites=tuple(sorted({*told.sites, *(said.site for said in told.season_evidence)})),
        cultivars=tuple(told.cultivars),
        species=tuple(sorted({species for species in told.species if species is not None})),
        blocks=tuple(sorted({slip.block for slip in told.set_aside})),
        seasons=tuple(sorted(seasons)),
        observations_set_aside=len(told.set_aside),
    )


def from_another_grower(told: FitDocument) -> SavedFit:
    """A fit that another grower shared, checked before anything is computed with it.

    Its seasons belong to sites of that grower, whatever vineyards of one's own are called.

    Raises
    ------
    BadInput
        If the document is no fit that a forecast could be made with.
    """
    check_document(told)
    evidence = tuple(replace(said, site=_anothers(said.site)) for said in told.season_evidence)
    sites = tuple(_anothers(site) for site in told.sites)
    update = {"season_evidence": evidence, "sites": sites, "imported": True}
    return told.model_copy(update=update).saved()


def _anothers(site: str) -> str:
    return ANOTHER_GROWERS + site.removeprefix(ANOTHER_GROWERS)


def check_document(told: FitDocument) -> None:
    """Refuse a fit whose numbers no model could have made.

    Raises
    ------
    BadInput
        With every fault that was found.
    """
    problems = list(_faults(told))
    if problems:
        raise BadInput("the fit cannot be taken over", problems)


def _faults(told: FitDocument) -> Iterator[Problem]:
    yield from _rule_faults(told)
    labels = list(_label_faults(told))
    yield from labels
    if labels:  # the shapes follow from the labels
        return
    cultivars, stages = len(told.cultivars), len(told.stages)
    by_cultivar, by_stage = (cultivars, stages), (stages, stages)
    spread = told.spread
    yield from _array_faults("threshold_mean", told.threshold_mean, by_cultivar, least=0.0, most=LARGEST_HEAT)
    yield from _array_faults("pooled_share", told.pooled_share, by_cultivar, least=0.0, most=1.0)
    yield from _array_faults("seasons_seen", told.seasons_seen, by_cultivar, least=0.0, most=1e4)
    yield from _array_faults("calibration", told.calibration, (stages,), least=1e-3, most=1e3)
    for name in FACTORS:
        if (factors := getattr(told, name)) is not None:
            yield from _array_faults(name, factors, (stages,), least=1e-3, most=1e3)
    yield from _array_faults("heat_a_day", told.heat_a_day, (stages,), least=1e-3, most=1e3)
    yield from _covariance_faults(
        "threshold_covariance", told.threshold_covariance, by_cultivar + by_cultivar
    )
    yield from _covariance_faults("spread.between_cultivars", spread.between_cultivars, by_stage)
    yield from _covariance_faults("spread.between_seasons", spread.between_seasons, by_stage)
    yield from _covariance_faults("spread.within", spread.within, by_stage)
    if not 0 <= spread.drift_share < 1:
        yield Problem("spread.drift_share", f"{spread.drift_share:g} is not from 0 to below 1")
    for place, said in enumerate(told.season_evidence):
        where = f"season_evidence.{place}"
        yield from _covariance_faults(f"{where}.precision", said.precision, by_stage, singular=True)
        yield from _array_faults(f"{where}.pull", said.pull, (stages,), least=-LARGEST, most=LARGEST)
        if not 1e-9 <= said.weight <= 1e3:
            yield Problem(f"{where}.weight", f"{said.weight:g} is no weight of a season")


def _rule_faults(told: FitDocument) -> Iterator[Problem]:
    candidates = () if told.search is None else told.search.candidates
    parts: list[tuple[str, HeatRule]] = [("heat", told.heat)]
    parts += [(f"search.candidates.{place}.rule", one.rule) for place, one in enumerate(candidates)]
    for where, rule in parts:
        try:
            check_base(rule.base_c, f"{where}.base_c")
        except BadInput as error:
            yield from error.problems
        if not 0 <= (rule.upper_c or 0.0) <= HIGHEST_UPPER_C:
            yield Problem(where, f"the upper temperature is outside 0 to {HIGHEST_UPPER_C} °C")


def _label_faults(told: FitDocument) -> Iterator[Problem]:
    known = [stage for stage in told.stages if stage in STAGE_KEYS]
    if not told.stages or told.stages != in_season_order(known):
        yield Problem("stages", f"must be some of {', '.join(STAGE_KEYS)}, in this order and each once")
    if not 0 < len(told.cultivars) <= MOST_CULTIVARS:
        yield Problem("cultivars", f"must be 1 to {MOST_CULTIVARS}")
    elif told.cultivars != tuple(sorted(set(told.cultivars))):
        yield Problem("cultivars", "must be sorted, and each once")
    if told.species and len(told.species) != len(told.cultivars):
        yield Problem("species", "must be one for each cultivar, or left out")
    if not told.season_evidence:
        yield Problem("season_evidence", "holds no season")
    years = [
        *told.exclude_seasons,
        *told.running_seasons,
        *(said.season for said in told.season_evidence),
        *(slip.season for slip in told.set_aside),
    ]
    for year in sorted({year for year in years if not FIRST_YEAR <= year <= LAST_YEAR})[:1]:
        yield Problem("season", f"{year} is outside {FIRST_YEAR} to {LAST_YEAR}")


def _array_faults(
    where: str, array: NDArray[Any], shape: tuple[int, ...], *, least: float, most: float
) -> Iterator[Problem]:
    if array.shape != shape:
        yield _shape_fault(where, shape)
    elif array.min() < least or array.max() > most:
        yield Problem(where, f"holds a number outside {least:g} to {most:g}")


def _covariance_faults(
    where: str, array: FloatArray, shape: tuple[int, ...], *, singular: bool = False
) -> Iterator[Problem]:
    if array.shape != shape:
        yield _shape_fault(where, shape)
        return
    size = int(np.prod(shape[: len(shape) // 2]))
    matrix = array.reshape(size, size)
    largest = float(np.abs(matrix).max())
    if largest > LARGEST or not np.allclose(matrix, matrix.T, rtol=1e-6, atol=1e-9 * largest):
        yield Problem(where, "is not symmetric, or its numbers are too large")
        return
    least = -LEAST_EIGENVALUE * largest if singular else max(LEAST_EIGENVALUE * largest, 1e-12)
    if np.linalg.eigvalsh(matrix)[0] < least:
        yield Problem(where, "is no covariance: it is not positive definite, or too close to singular")


def _shape_fault(where: str, shape: tuple[int, ...]) -> Problem:
    return Problem(where, f"must hold {' x '.join(map(str, shape))} numbers")
