"""The bodies of hindcasts. All errors are in days."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field

from models.bloom.hindcast import LEADS
from service.api.fit_schemas import HeatBody
from service.api.schemas import Body
from service.usecases.hindcast import LONGEST_LEAD, MOST_LEADS
from service.usecases.hindcast_documents import HindcastDocument, HindcastRow, LeadScore, LeadText
from service.usecases.hindcast_jobs import AskedHindcast
from service.web.units import Units
from service.words.hindcast import how_made
from service.words.set_aside import set_aside_words

LeadDays = Annotated[int, Field(ge=0, le=LONGEST_LEAD)]


class HindcastBody(Body):
    """What to score. Everything may be left out."""

    interval: float = Field(default=0.8, gt=0, lt=1, description="Whose coverage is scored.")
    leads: list[LeadDays] = Field(
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


class SeasonRuleAnswer(Body):
    """The heat rule with which a season was forecast."""

    season: int
    heat: HeatBody


class HindcastAnswer(Body):
    """How good forecasts of past seasons would have been."""

    fit: str
    made: str = Field(description="How the figures came about.")
    stages: list[str]
    interval: float
    leads: list[LeadText]
    searched: bool = Field(description="Whether the heat rule was chosen for each season from the others.")
    scores: list[LeadScore]
    rules: list[SeasonRuleAnswer]
    rows: list[HindcastRow]
    not_scored: list[str] = Field(description="Dates and seasons that could not be scored, and why.")
    seconds: float = Field(description="How long it took.")

    @classmethod
    def of(cls, fit: str, document: HindcastDocument, units: Units) -> Self:
        """For the client, from the kept report."""
        rules = [
            SeasonRuleAnswer(season=chosen.season, heat=HeatBody.of(chosen.heat, units))
            for chosen in document.rules
        ]
        not_scored = [set_aside_words(told) for told in document.not_scored]
        made = how_made(searched=document.searched, interval=document.interval)
        more = {"fit": fit, "made": made, "rules": rules, "not_scored": not_scored}
        return cls(**{**dict(document), **more})
