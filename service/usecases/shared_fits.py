"""The shape of a fit's document, and what one that comes from elsewhere must hold to be forecast with."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Annotated, Literal, TypeVar

import numpy as np
from pydantic import BaseModel, BeforeValidator, ConfigDict, FailFast, Field, StringConstraints, TypeAdapter

from models.bloom.set_aside import SetAside, WhySetAside
from models.errors import BadInput, Problem
from models.records import Cutoff, GapRule, HeatMethod, HeatRule
from models.stages import STAGE_KEYS, in_season_order
from models.units import FloatArray
from service.ingest.dates import FIRST_YEAR, LAST_YEAR

ANOTHER_GROWERS = "another grower's "
"""Before the site of each season of a shared fit; no vineyard's identifier holds a blank."""

_WHY: TypeAdapter[WhySetAside] = TypeAdapter(Annotated[WhySetAside, Field(discriminator="code")])
SLIPS = TypeAdapter(tuple[SetAside, ...])
"""What is set aside, to plain JSON and back."""

MOST_CULTIVARS = 200
LARGEST_HEAT = 1e5  # no season sums up to that [°C·day]
LARGEST = 1e12  # of any number, so that sums and products of numbers stay finite
LEAST_EIGENVALUE = 1e-9  # of a covariance, as a share of its largest: below, it cannot be inverted

Item = TypeVar("Item")
# one error a list is told: a wrong matrix would tell thousands
Items = Annotated[list[Item], FailFast()]
Slug = Annotated[str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9-]{0,62}$")]
Vector = Items[float]
Matrix = Items[Vector]
Label = Annotated[str, StringConstraints(pattern=r"^[^\x00]*$", max_length=1000)]
_LABEL: TypeAdapter[str] = TypeAdapter(Label)


class Part(BaseModel):
    """What every part of the document has in common."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True, strict=True)


class HeatPart(Part):
    """How heat is summed. [°C]"""

    method: HeatMethod
    base_c: float
    upper_c: float | None
    cutoff: Cutoff
    accumulate_from: Label | None


class SpreadPart(Part):
    """Variances over stages. [(°C·day)²]"""

    between_cultivars: Matrix
    between_seasons: Matrix
    within: Matrix
    drift_share: float


class EvidencePart(Part):
    """What one past season showed of its own effect."""

    site: Label
    season: int
    precision: Matrix
    pull: Vector
    weight: float


def _reason(told: object) -> object:
    """A reason from its code; dates stand as text in JSON, which the strict parts would refuse."""
    if not isinstance(told, dict):
        return told
    reason = _WHY.validate_python(told)
    for value in vars(reason).values():
        if isinstance(value, str):
            _LABEL.validate_python(value)
        if isinstance(value, float) and not math.isfinite(value):
            raise ValueError(f"{value} is no number of days")
    return reason


class SetAsidePart(Part):
    """An observation that the fit does not use."""

    season: int
    block: Label
    stage: Label
    # a text in documents that were made before reasons had codes
    why: Annotated[WhySetAside | Label, BeforeValidator(_reason)]


class CandidatePart(Part):
    """One way to count heat that was tried."""

    rule: HeatPart
    score: float
    behind: float
    standard_error: float


class SearchPart(Part):
    """How the heat rule was chosen."""

    why: Label
    candidates: Items[CandidatePart]


class FitDocument(Part):
    """A fit, complete: what `GET /v1/fits/{fit}/document` gives and `POST /v1/fits/import` takes."""

    version: Literal[1]
    imported: bool
    vineyards: Items[Label]
    exclude_seasons: Items[int]
    running_seasons: Items[int]
    heat: HeatPart
    gap_rule: GapRule
    stages: Items[Label]
    cultivars: Items[Slug]
    threshold_mean: Matrix = Field(description="By cultivar and stage. [°C·day]")
    threshold_covariance: Items[Items[Matrix]] = Field(
        description="By cultivar, stage, cultivar and stage. [(°C·day)²]"
    )
    pooled_share: Matrix
    seasons_seen: Items[Items[int]]
    spread: SpreadPart
    season_evidence: Items[EvidencePart]
    calibration: Vector
    heat_a_day: Vector
    set_aside: Items[SetAsidePart]
    search: SearchPart | None


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
    parts = [("heat", told.heat)]
    parts += [(f"search.candidates.{place}.rule", one.rule) for place, one in enumerate(candidates)]
    for where, part in parts:
        if not -100 <= part.base_c <= 200 or not -100 <= (part.upper_c or 0.0) <= 200:
            yield Problem(where, "a base or upper temperature is outside -100 to 200 °C")
        try:
            HeatRule(**part.model_dump())
        except BadInput as error:
            yield from (Problem(f"{where}.{fault.where}", fault.problem) for fault in error.problems)


def _label_faults(told: FitDocument) -> Iterator[Problem]:
    known = [stage for stage in told.stages if stage in STAGE_KEYS]
    if not told.stages or tuple(told.stages) != in_season_order(known):
        yield Problem("stages", f"must be some of {', '.join(STAGE_KEYS)}, in this order and each once")
    if not 0 < len(told.cultivars) <= MOST_CULTIVARS:
        yield Problem("cultivars", f"must be 1 to {MOST_CULTIVARS}")
    elif told.cultivars != sorted(set(told.cultivars)):
        yield Problem("cultivars", "must be sorted, and each once")
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
    where: str, values: Sequence[object], shape: tuple[int, ...], *, least: float, most: float
) -> Iterator[Problem]:
    array = _array(values, shape)
    if array is None:
        yield Problem(where, f"must hold {' x '.join(map(str, shape))} numbers")
    elif array.min() < least or array.max() > most:
        yield Problem(where, f"holds a number outside {least:g} to {most:g}")


def _covariance_faults(
    where: str, values: Sequence[object], shape: tuple[int, ...], *, singular: bool = False
) -> Iterator[Problem]:
    array = _array(values, shape)
    if array is None:
        yield Problem(where, f"must hold {' x '.join(map(str, shape))} numbers")
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


def _array(values: Sequence[object], shape: tuple[int, ...]) -> FloatArray | None:
    """The numbers, if they have this shape."""
    try:
        array = np.array(values, dtype=np.float64)
    except (ValueError, OverflowError):
        return None
    return array if array.shape == shape else None
