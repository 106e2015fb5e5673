"""The heat of the season against the past ones, as a chart and as a table."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from models.units import fahrenheit_days_from_celsius_days
from service.board.charts import Chart, Column, Line, Scale, Tick, area, path
from service.board.pages import told_heat
from service.usecases.heat import SeasonComparison
from service.web.units import Units
from service.words.language import _
from service.words.plain import in_words, short_month, to

DAYS_AFTER = 14
A_WEEK = 7
HEADROOM = 1.05


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
        _chart(compared.season, lines, as_of, units), tuple(_table(lines, as_of)), len(compared.past)
    )


def _table(lines: list[HeatLine], as_of: dt.date) -> Iterator[HeatLine]:
    """The first of each month, and the last measured day."""
    eve = as_of - dt.timedelta(days=1)
    return (line for line in lines if line.date.day == 1 or line.date == eve)


def _chart(season: int, lines: list[HeatLine], as_of: dt.date, units: Units) -> Chart:
    us = units == "us"
    most = max((heat for line in lines for heat in (line.this, line.high) if heat is not None), default=1.0)
    most = fahrenheit_days_from_celsius_days(most) if us else most
    up = Scale(0.0, max(HEADROOM * most, 1.0), "downward")
    days = Scale(0.0, float(len(lines)))

    def places(name: str) -> list[tuple[float, float] | None]:
        return [
            None
            if (heat := getattr(line, name)) is None
            else (days.at(index + 1), up.at(fahrenheit_days_from_celsius_days(heat) if us else heat))
            for index, line in enumerate(lines)
        ]

    return Chart(
        id="heat-chart",
        x_label="",
        y_label=_("Heat accumulated [°F·day]") if us else _("Heat accumulated [°C·day]"),
        x_ticks=tuple(
            Tick(days.at(index), short_month(line.date))
            for index, line in enumerate(lines)
            if line.date.day == 1
        ),
        y_ticks=up.round_ticks(),
        lines=(
            Line("range", _("past seasons, range"), area(places("high"), places("low")), area=True),
            Line("usual", _("past seasons, median"), path(places("median"))),
            Line("this", _("season {season}", season=season), path(places("this"))),
        ),
        readings=tuple(
            Column(days.at(index), days.at(index + A_WEEK) - days.at(index), 100, _said(season, line, units))
            for index, line in enumerate(lines)
            if index % A_WEEK == 0
        ),
        marked_x=days.at((as_of - lines[0].date).days) if lines[0].date <= as_of <= lines[-1].date else None,
    )


def _said(season: int, line: HeatLine, units: Units) -> str:
    """What one day's heat is, in words."""
    told = []
    if line.this is not None:
        told.append(_("season {season} {heat}", season=season, heat=told_heat(line.this, units)))
    if line.median is not None and line.low is not None and line.high is not None:
        span = to(told_heat(line.low, units), told_heat(line.high, units))
        told.append(_("past: {median}, {range}", median=told_heat(line.median, units), range=span))
    return f"{in_words(line.date)}: {'; '.join(told) or _('not known')}"
