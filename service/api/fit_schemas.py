"""The bodies of fits. Heat is °C·day, with `units=us` °F·day; bases carry their unit in the name."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Annotated, Literal, Self

import numpy as np
from pydantic import Field, model_validator

from models.bloom.thresholds import Fit
from models.records import Cutoff, GapRule, HeatMethod, HeatRule
from models.stages import STAGE_KEYS
from models.units import (
    celsius_from_fahrenheit,
    fahrenheit_days_from_celsius_days,
    fahrenheit_from_celsius,
)
from service.api.schemas import Body, FourDigits
from service.ingest.dates import FIRST_YEAR, LAST_YEAR
from service.usecases.cautions import cautions_of
from service.usecases.documents import Slug
from service.usecases.fit_documents import SavedFit
from service.usecases.fits import FitOptions
from service.web.units import Units, check_heat_limits
from service.words.cautions import caution_texts
from service.words.heat_rules import why_chosen
from service.words.set_aside import why_set_aside

HeatUnit = Literal["degC_day", "degF_day"]
Base = Annotated[float | None, Field(ge=-100, le=200)]
StageKey = Annotated[str, Field(json_schema_extra={"enum": list(STAGE_KEYS)})]


def heat_unit(units: Units) -> HeatUnit:
    """The unit of heat in an answer."""
    return "degF_day" if units == "us" else "degC_day"


def told_heat(heat_c_day: float, units: Units) -> float:
    """Heat, or a spread of it, in the unit of the answer."""
    return round(fahrenheit_days_from_celsius_days(heat_c_day) if units == "us" else heat_c_day, 2)


class HeatBody(Body):
    """How daily extremes become heat; the base in °C or °F, from 0 to 20 °C (32 to 68 °F), by default 10 °C."""

    method: HeatMethod = "average"
    base_c: Base = None
    base_f: Base = None
    upper_c: Base = None
    upper_f: Base = None
    cutoff: Cutoff = "none"
    accumulate_from: str | None = Field(
        default=None, max_length=5, description="MM-DD; by default 01-01, south of the equator 07-01."
    )

    @model_validator(mode="after")
    def in_one_unit(self) -> Self:
        """A base in two units could be two bases."""
        for name in ("base", "upper"):
            if getattr(self, f"{name}_c") is not None and getattr(self, f"{name}_f") is not None:
                raise ValueError(f"give {name}_c or {name}_f, not both")
        return self

    def rule(self) -> HeatRule:
        """As the models take it. Raises BadInput (a base out of bounds)."""
        base_c = _celsius(self.base_c, self.base_f)
        check_heat_limits(
            base_c,
            _celsius(self.upper_c, self.upper_f),
            base_at="body.heat.base_c" if self.base_f is None else "body.heat.base_f",
            upper_at="body.heat.upper_c" if self.upper_f is None else "body.heat.upper_f",
        )
        return HeatRule(
            method=self.method,
            base_c=HeatRule.base_c if base_c is None else base_c,
            upper_c=_celsius(self.upper_c, self.upper_f),
            cutoff=self.cutoff,
            accumulate_from=self.accumulate_from,
        )

    @classmethod
    def of(cls, rule: HeatRule, units: Units) -> Self:
        """For the client, with the bases of one unit only; it can be sent again."""
        bases: dict[str, float | None] = {"base_c": rule.base_c, "upper_c": rule.upper_c}
        if units == "us":
            upper = rule.upper_c
            bases = {
                "base_f": round(fahrenheit_from_celsius(rule.base_c), 6),
                "upper_f": None if upper is None else round(fahrenheit_from_celsius(upper), 6),
            }
        kept = ("method", "cutoff", "accumulate_from")
        return cls.model_validate(bases | {name: getattr(rule, name) for name in kept})


def _celsius(celsius: float | None, fahrenheit: float | None) -> float | None:
    return celsius if fahrenheit is None else celsius_from_fahrenheit(fahrenheit)


class FitBody(Body):
    """What to fit, and how. Everything may be left out."""

    vineyards: list[Slug] | None = Field(
        default=None, min_length=1, description="By default all that have a station with temperatures."
    )
    stages: list[StageKey] | None = Field(
        default=None, min_length=1, description="By default all up to fruit set that were ever observed."
    )
    exclude_seasons: list[Annotated[int, Field(ge=FIRST_YEAR, le=LAST_YEAR)]] = Field(default=[])
    heat: HeatBody | None = None
    gap_rule: GapRule = "fill_short"
    search: bool | None = Field(
        default=None,
        description="Choose the heat rule by how well it foresees seasons; by default without heat.",
    )

    use: bool = Field(
        default=True,
        description="Whether to put the fit in use: for the vineyards that are named, or, where none are, for those "
        "that have no fit in use. A fit that excludes seasons or lacks bloom_start is put in use by hand alone.",
    )

    def options(self) -> FitOptions:
        """As the use case takes it."""
        return FitOptions(
            stages=None if self.stages is None else tuple(self.stages),
            exclude_seasons=tuple(self.exclude_seasons),
            rule=None if self.heat is None else self.heat.rule(),
            gap_rule=self.gap_rule,
            search=self.search,
        )


class StageThreshold(Body):
    """The heat that a cultivar needs to a stage, and how sure that is."""

    threshold: float
    standard_error: float
    seasons: int = Field(description="In which it was seen.")
    pooled_share: float = Field(
        description="How much it leans on the other cultivars: 0 not, 1 only on them."
    )


class CultivarThresholds(Body):
    """The thresholds of one cultivar, by stage key."""

    cultivar: str
    stages: dict[str, StageThreshold]


class StageSpread(Body):
    """How much the heat to a stage varies (standard deviations), and what that is in days."""

    between_cultivars: float
    between_seasons: float = Field(description="What a whole vineyard shares in a season.")
    within: float = Field(description="What is a block's own.")
    between_cultivars_days: float
    between_seasons_days: float
    within_days: float
    heat_a_day: float = Field(description="Heat of a usual day at the stage.")
    calibration: float = Field(
        description="Factor on the season's spread in all that is learned, from seasons left out in turn; 1 where too "
        "few."
    )
    season_left: float = Field(
        description="Factor on what is not known of a season, every season counted alike."
    )
    own_left: float = Field(
        description="Factor on what is a block's own, once others were seen, counted so too."
    )


class FitSpread(Body):
    """The spreads of the model."""

    drift_share: float = Field(description="Share of the season variance that lasts from season to season.")
    stages: dict[str, StageSpread]


class SetAsideAnswer(Body):
    """An observation that the fit does not use, and why."""

    season: int
    block: str
    stage: str
    why: str


class CandidateAnswer(Body):
    """One way to count heat that was tried, and its mean log score for seasons left out."""

    heat: HeatBody
    score: FourDigits
    behind: FourDigits = Field(description="How far behind the best.")
    standard_error: FourDigits = Field(description="Of that, over seasons.")


class SearchAnswer(Body):
    """How the heat rule was chosen; candidates are best first."""

    why: str
    candidates: list[CandidateAnswer]


class FitAnswer(Body):
    """A fit: thresholds of all cultivars, how sure they are, and how they were made."""

    id: str
    imported: bool
    vineyards: list[str]
    in_use_by: list[str] = Field(description="The vineyards whose answers rest on it.")
    heat_unit: HeatUnit
    heat: HeatBody
    gap_rule: GapRule
    stages: list[str]
    seasons: list[int]
    exclude_seasons: list[int] = Field(description="Left out because that was asked for.")
    running_seasons: list[int] = Field(
        description="Not over yet: what was seen is left to the forecast, which learns from it."
    )
    spread: FitSpread
    cultivars: list[CultivarThresholds]
    set_aside: list[SetAsideAnswer]
    search: SearchAnswer | None = Field(description="Null where the heat rule was given.")
    cautions: list[str]

    @classmethod
    def of(cls, saved: SavedFit, units: Units, *, in_use_by: Sequence[str] = ()) -> Self:
        """A fit for the client."""
        fit, search = saved.fit, saved.search
        return cls.showing(
            saved,
            fit,
            in_use_by=list(in_use_by),
            heat_unit=heat_unit(units),
            heat=HeatBody.of(fit.rule, units),
            spread=_spread(fit, units),
            cultivars=[_thresholds(fit, place, units) for place in range(len(fit.cultivars))],
            set_aside=[SetAsideAnswer.showing(slip, why=why_set_aside(slip)) for slip in fit.set_aside],
            search=None
            if search is None
            else SearchAnswer(
                why=why_chosen(search.why),
                candidates=[
                    CandidateAnswer.showing(candidate, heat=HeatBody.of(candidate.rule, units))
                    for candidate in search.candidates
                ],
            ),
            cautions=caution_texts(cautions_of(saved)),
        )


def _spread(fit: Fit, units: Units) -> FitSpread:
    stages = {}
    for place, stage in enumerate(fit.stages):
        a_day = float(fit.heat_a_day[place])
        cultivars, seasons, within = (
            float(np.sqrt(variance[place, place]))
            for variance in (fit.spread.between_cultivars, fit.spread.between_seasons, fit.spread.within)
        )
        stages[stage] = StageSpread(
            between_cultivars=told_heat(cultivars, units),
            between_seasons=told_heat(seasons, units),
            within=told_heat(within, units),
            between_cultivars_days=round(cultivars / a_day, 2),
            between_seasons_days=round(seasons / a_day, 2),
            within_days=round(within / a_day, 2),
            heat_a_day=told_heat(a_day, units),
            calibration=round(float(fit.calibration[place]), 3),
            season_left=round(float(fit.season_left[place]), 3),
            own_left=round(float(fit.own_left[place]), 3),
        )
    return FitSpread(drift_share=round(fit.spread.drift_share, 3), stages=stages)


def _thresholds(fit: Fit, cultivar: int, units: Units) -> CultivarThresholds:
    errors = fit.standard_error
    return CultivarThresholds(
        cultivar=fit.cultivars[cultivar],
        stages={
            stage: StageThreshold(
                threshold=told_heat(float(fit.thresholds.mean[cultivar, place]), units),
                standard_error=told_heat(float(errors[cultivar, place]), units),
                seasons=int(fit.seasons_seen[cultivar, place]),
                pooled_share=round(float(fit.pooled_share[cultivar, place]), 3),
            )
            for place, stage in enumerate(fit.stages)
        },
    )


class GivesAwayAnswer(Body):
    """What a fit's document tells of you, beside numbers of heat. It holds no coordinates, temperatures or notes."""

    vineyards: list[str]
    sites: list[str] = Field(
        description="Stations, or vineyards without one, whose seasons it learned from: their identifiers."
    )
    cultivars: list[str]
    species: list[str]
    blocks: list[str] = Field(description="Those of which an observation was set aside.")
    seasons: list[int]
    observations_set_aside: int = Field(description="Each with its season, block, stage, and why, with days.")


class FitEntry(Body):
    """One fit of the list."""

    id: str
    created_at: dt.datetime
    imported: bool
    vineyards: list[str] = Field(description="Those that it was made for.")
    in_use_by: list[str] = Field(description="The vineyards whose answers rest on it.")
    stages: list[str]
    seasons: list[int]
    cultivars: list[str]


class FitList(Body):
    """All fits, newest first."""

    fits: list[FitEntry]
    next: str | None = Field(description="The `cursor` of the next page; null on the last one.")
