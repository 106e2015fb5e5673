"""The bodies of hindcasts. All errors are in days."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, Self

from pydantic import Field

from models.bloom.hindcast import KNOWN_WEATHER, LEADS, OTHERS_SEEN
from models.records import HeatRule
from service.api.fit_schemas import HeatBody
from service.api.schemas import Body, Units
from service.usecases.hindcast import LONGEST_LEAD, MOST_LEADS
from service.usecases.hindcast_documents import not_scored_of
from service.usecases.hindcast_jobs import AskedHindcast
from service.words.set_aside import set_aside_words

Lead = Annotated[int, Field(ge=0, le=LONGEST_LEAD)]
LEAD_WORDS = f"Days before the stage's mean date as text, `{KNOWN_WEATHER}` or `{OTHERS_SEEN}`."


class HindcastBody(Body):
    """What to score. Everything may be left out."""

    interval: float = Field(default=0.8, gt=0, lt=1, description="Whose coverage is scored.")
    leads: list[Lead] = Field(
        default=list(LEADS),
        max_length=MOST_LEADS,
        description="Days before a stage's mean date on which forecasts are made.",
    )
    search: bool | None = Field(
        default=None,
        description="Choose the heat rule for each season from the others; by default where the fit chose its own.",
    )

    def asked(self) -> AskedHindcast:
        """As the use case takes it."""
        return AskedHindcast(interval=self.interval, leads=tuple(self.leads), search=self.search)


class LeadScore(Body):
    """Scores of the forecasts of one stage at one lead; null where there is nothing to compare with."""

    stage: str
    cultivar: str | None = Field(description="Null for all cultivars together.")
    lead: str = Field(description=LEAD_WORDS)
    n: int = Field(description="Forecasts scored. Those of one season are not independent.")
    bias: float | None = Field(description="Mean of forecast minus observed.")
    mae: float | None
    rmse: float | None
    crps: float | None
    baseline_rmse: float | None = Field(description="Of the cultivar's mean date in the other seasons.")
    skill: float | None = Field(
        description="1 - CRPS / CRPS of the cultivar's own dates in the other seasons."
    )
    coverage: float | None = Field(description="Share of dates within the interval.")


class SeasonHeat(Body):
    """The heat rule with which a season was forecast."""

    season: int
    heat: HeatBody


class HindcastRow(Body):
    """One forecast of one date; `median`, `low` or `high` is null where the season might have ended first."""

    season: int
    vineyard: str
    block: str
    cultivar: str
    stage: str
    lead: str
    observed: dt.date
    median: dt.date | None
    low: dt.date | None
    high: dt.date | None
    error: float | None
    crps: float | None
    covered: bool


class HindcastAnswer(Body):
    """How good forecasts of past seasons would have been."""

    fit: str
    made: str = Field(description="How the figures came about.")
    stages: list[str]
    interval: float
    leads: list[str]
    searched: bool = Field(description="Whether the heat rule was chosen for each season from the others.")
    scores: list[LeadScore]
    rules: list[SeasonHeat]
    rows: list[HindcastRow]
    not_scored: list[str] = Field(description="Dates and seasons that could not be scored, and why.")
    seconds: float = Field(description="How long it took.")

    @classmethod
    def of(cls, fit: str, document: dict[str, Any], units: Units) -> Self:
        """For the client, from the kept report."""
        rules = [
            {"season": chosen["season"], "heat": HeatBody.of(HeatRule(**chosen["heat"]), units)}
            for chosen in document["rules"]
        ]
        not_scored = [set_aside_words(told) for told in not_scored_of(document)]
        return cls.model_validate({**document, "fit": fit, "rules": rules, "not_scored": not_scored})
