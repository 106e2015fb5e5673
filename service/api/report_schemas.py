"""The bodies of the report that is made in one call."""

from __future__ import annotations

import datetime as dt
from typing import Self

from fastapi import UploadFile
from pydantic import Field

from models.records import Planting
from service.api.fit_schemas import FitAnswer
from service.api.forecast_schemas import ForecastAnswer
from service.api.pollination_schemas import PollinationAnswer
from service.api.schemas import BadRowAnswer, Body, GapAnswer
from service.ingest.options import Confirm, OnBadRows
from service.ingest.temperature_headers import TemperatureUnit
from service.usecases.cautions import cautions_of
from service.usecases.frost import look_for_frost
from service.usecases.report import Report
from service.web.days import IsoDate
from service.web.units import Units
from service.words.cautions import caution_texts


class ReportForm(Body):
    """The files of a vineyard, as CSV, and how to read them. A bloom log or visits are needed."""

    temperatures: UploadFile
    planting: UploadFile
    bloom_log: UploadFile | None = None
    visits: UploadFile | None = None
    outlook: UploadFile | None = Field(default=None, description="Taken as issued on `as_of`.")
    as_of: IsoDate | None = Field(default=None, description="By default today.")
    unit: TemperatureUnit | None = Field(default=None, description="Needed unless the headers carry it.")
    latitude: float | None = Field(
        default=None, ge=-90, le=90, description="Degrees, north positive; by default north of the equator."
    )
    reach_m: float = Field(
        default=Planting.reach_m, ge=0, le=100_000, description="How far pollen is carried."
    )
    row_spacing_m: float | None = Field(
        default=None, gt=0, le=1000, description="For a planting that is a grid."
    )
    vine_spacing_m: float | None = Field(default=None, gt=0, le=1000)
    receptive_days: int | None = Field(default=None, ge=1, le=30, description="Assumed 3.")
    pollen_days: int | None = Field(default=None, ge=1, le=30, description="Assumed 2.")
    interval: float = Field(default=0.8, gt=0, lt=1)
    units: Units = "metric"
    date_format: str | None = Field(
        default=None,
        max_length=40,
        description="How dates are written in files that have no format of their own.",
    )
    temperatures_date_format: str | None = Field(default=None, max_length=40)
    bloom_log_date_format: str | None = Field(default=None, max_length=40)
    visits_date_format: str | None = Field(default=None, max_length=40)
    outlook_date_format: str | None = Field(default=None, max_length=40)
    checked_every_days: int | None = Field(
        default=None, ge=1, le=366, description="Of the bloom log's blocks, where the file does not say it."
    )
    on_bad_rows: OnBadRows = "reject"
    confirm: list[Confirm] = Field(
        default_factory=list, description="What a refusal doubted and is right all the same."
    )
    search: bool = Field(default=True, description="Choose the heat rule; else the trade default.")

    @property
    def date_formats(self) -> dict[str, str]:
        """Formats of single files, by file."""
        files = ("temperatures", "bloom_log", "visits", "outlook")
        return {name: told for name in files if (told := getattr(self, f"{name}_date_format")) is not None}


class FileReceipt(Body):
    """What one file held."""

    rows_read: int
    bad_rows: list[BadRowAnswer]
    warnings: list[str]


class WeatherReceipt(FileReceipt):
    """What a file of temperatures held."""

    missing_values: int
    first_date: dt.date
    last_date: dt.date
    gaps: list[GapAnswer]


class UploadReceipts(Body):
    """What each file held; null for those that were not sent."""

    temperatures: WeatherReceipt | None
    planting: FileReceipt | None
    bloom_log: FileReceipt | None
    visits: FileReceipt | None
    outlook: WeatherReceipt | None


class ReportAnswer(Body):
    """Fit, forecast and pollen cover of the files that were sent. Nothing of it is stored."""

    cautions: list[str] = Field(description="All that hold for the report, each once.")
    fit: FitAnswer
    forecast: ForecastAnswer
    pollination: PollinationAnswer
    uploads: UploadReceipts

    @classmethod
    def of(cls, report: Report, units: Units) -> Self:
        """A report for the client."""
        frost = look_for_frost(report.forecast)
        return cls.showing(
            report,
            cautions=caution_texts(cautions_of(report.forecast, pollen=report.pollination, frost=frost)),
            fit=FitAnswer.of(report.fit, units),
            forecast=ForecastAnswer.of(report.forecast, frost, units),
            pollination=PollinationAnswer.of(report.forecast, report.pollination),
            uploads=report.read,
        )
