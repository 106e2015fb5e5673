"""The heat of the season against the past ones, as a chart and as a table."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from bokeh.models import ColumnDataSource, DatetimeTickFormatter, HoverTool
from bokeh.plotting import figure

from models.units import FloatArray, fahrenheit_days_from_celsius_days
from service.board.charts import BAND, CHART_INK, MUTED, PLUM, Chart, chart, plain_figure, tip
from service.board.pages import told_heat
from service.usecases.heat import SeasonComparison
from service.web.units import Units
from service.words.plain import in_words

DAYS_AFTER = 14


@dataclass(frozen=True)
class HeatLine:
    """One line of the table. None where it is not known. [°C·day]"""

    date: dt.date
    this: float | None
    median: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, eq=False)
class HeatPicture:
    """Chart and table of a season's heat, and how many past seasons stand behind it."""

    chart: Chart
    lines: tuple[HeatLine, ...]
    past_seasons: int


def heat_picture(
    compared: SeasonComparison, *, as_of: dt.date, last_day: dt.date, units: Units
) -> HeatPicture:
    """Heat from the start of the sum to ``last_day``; this season's through the day before ``as_of``."""
    window = compared.heat.window
    shown = min(window.day_index(last_day) + DAYS_AFTER, window.days)
    dates = [window.date_at(index) for index in range(max(shown, 1))]
    this = compared.heat.accumulated[: len(dates)].copy()
    this[max(window.day_index(as_of), 0) :] = np.nan
    past = np.array([heat[: len(dates)] for heat in compared.past.values()])
    nothing = np.full(len(dates), np.nan)
    median, low, high = (
        (np.median(past, axis=0), past.min(axis=0), past.max(axis=0)) if len(past) else [nothing] * 3
    )
    lines = [
        HeatLine(date, *(None if np.isnan(value) else float(value) for value in values))
        for date, *values in zip(dates, this, median, low, high, strict=True)
    ]
    return HeatPicture(
        chart("heat-chart", _figure(compared.season, lines, as_of, units)),
        tuple(_table(lines, as_of)),
        len(compared.past),
    )


def _table(lines: list[HeatLine], as_of: dt.date) -> Iterator[HeatLine]:
    """The first of each month, and the last measured day."""
    eve = as_of - dt.timedelta(days=1)
    return (line for line in lines if line.date.day == 1 or line.date == eve)


def _figure(season: int, lines: list[HeatLine], as_of: dt.date, units: Units) -> figure:
    unit = "°F·day" if units == "us" else "°C·day"
    heats = {name: [getattr(line, name) for line in lines] for name in ("this", "median", "low", "high")}
    columns = {
        name: _in_units(np.array([np.nan if heat is None else heat for heat in column]), units)
        for name, column in heats.items()
    }
    texts = {
        f"{name}_text": ["not known" if heat is None else told_heat(heat, units) for heat in column]
        for name, column in heats.items()
    }
    source = ColumnDataSource(
        {
            "date": np.array([line.date for line in lines], dtype="datetime64[ms]"),
            "day": [in_words(line.date) for line in lines],
            **columns,
            **texts,
        }
    )
    drawn = plain_figure(height=320, x_axis_type="datetime", y_axis_label=f"Heat accumulated [{unit}]")
    drawn.varea(
        "date", "low", "high", source=source, color=BAND, alpha=0.55, legend_label="past seasons, range"
    )
    middle = drawn.line(
        "date",
        "median",
        source=source,
        color=MUTED,
        line_width=2,
        line_dash="dashed",
        legend_label="past seasons, median",
    )
    ours = drawn.line(
        "date", "this", source=source, color=PLUM, line_width=3, legend_label=f"season {season}"
    )
    drawn.vspan(x=[as_of], line_color=CHART_INK, line_width=1.5, line_dash="dotted")
    drawn.add_tools(
        HoverTool(
            renderers=[middle if not np.isnan(columns["median"]).all() else ours],
            mode="vline",
            tooltips=tip("@day", f"{season}: @this_text", "past: @median_text", "@low_text to", "@high_text"),
        )
    )
    drawn.xaxis.formatter = DatetimeTickFormatter(days="%e %b", months="%b", years="%b")
    drawn.legend.location = "top_left"
    drawn.legend.background_fill_alpha = 0.7
    return drawn


def _in_units(heat_c_day: FloatArray, units: Units) -> FloatArray:
    return fahrenheit_days_from_celsius_days(heat_c_day) if units == "us" else heat_c_day
