"""A hindcast's report as it is kept and told, and its rows as CSV."""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
from collections.abc import Iterable
from typing import Annotated

from pydantic import (
    AliasChoices,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    WithJsonSchema,
    model_validator,
)

from models.bloom.hindcast import KNOWN_WEATHER, OTHERS_SEEN, Lead
from models.bloom.set_aside import SetAside
from service.usecases.documents import Written
from service.usecases.hindcast import SeasonRule

DIGITS = 3


def _number(value: float | None) -> float | None:
    return None if value is None or math.isnan(value) else round(value, DIGITS)


def _lead(told: object) -> object:
    return int(told) if isinstance(told, str) and told.isdecimal() else told


Number = Annotated[float | None, BeforeValidator(_number)]
Tenths = Annotated[float, BeforeValidator(lambda value: round(value, 1))]
LeadText = Annotated[
    Lead,
    BeforeValidator(_lead),
    PlainSerializer(str),
    WithJsonSchema(
        {
            "type": "string",
            "description": "Days before the stage's mean date as text, "
            f"`{KNOWN_WEATHER}` or `{OTHERS_SEEN}`.",
        }
    ),
]


class Part(BaseModel):
    """What every part of a report has in common: it is read from the dataclasses, or from what was kept."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True, from_attributes=True)


class LeadScore(Part):
    """Scores of the forecasts of one stage at one lead; null where there is nothing to compare with."""

    stage: str
    cultivar: str | None = Field(description="Null for all cultivars together.")
    lead: LeadText
    n: int = Field(description="Forecasts scored. Those of one season are not independent.")
    bias: Number = Field(description="Mean of forecast minus observed.")
    mae: Number
    rmse: Number
    crps: Number
    baseline_rmse: Number = Field(description="Of the cultivar's mean date in the other seasons.")
    skill: Number = Field(description="1 - CRPS / CRPS of the cultivar's own dates in the other seasons.")
    coverage: Number = Field(description="Share of dates within the interval.")


class HindcastRow(Part):
    """One forecast of one date; `median`, `low` or `high` is null where the season might have ended first."""

    season: int
    vineyard: str = Field(validation_alias=AliasChoices("vineyard", "site"))
    block: str
    cultivar: str
    stage: str
    lead: LeadText
    observed: dt.date
    median: dt.date | None
    low: dt.date | None
    high: dt.date | None
    error: Number
    crps: Number
    covered: bool


class HindcastDocument(Part):
    """A report as it is kept: `HindcastDocument.model_validate(report)`."""

    stages: tuple[str, ...]
    interval: float
    leads: tuple[LeadText, ...]
    searched: bool
    scores: tuple[LeadScore, ...]
    rules: tuple[SeasonRule, ...]
    rows: tuple[HindcastRow, ...]
    # a text in reports that were made before reasons had codes
    not_scored: tuple[Written[SetAside] | str, ...]
    seconds: Tenths

    @model_validator(mode="before")
    @classmethod
    def without_words(cls, told: object) -> object:
        """Older reports keep how they were made as a text, which follows from the rest."""
        return (
            {name: value for name, value in told.items() if name != "made"}
            if isinstance(told, dict)
            else told
        )


def rows_as_csv(rows: Iterable[HindcastRow]) -> str:
    """One row a forecast and date; empty where there is no value."""
    text = io.StringIO()
    table = csv.DictWriter(text, HindcastRow.model_fields, lineterminator="\n")
    table.writeheader()
    for row in rows:
        table.writerow({**row.model_dump(mode="json"), "covered": str(row.covered).lower()})
    return text.getvalue()
