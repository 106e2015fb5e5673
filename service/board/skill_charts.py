"""The hindcast as charts and tables: forecast against observed, error and coverage by lead."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from bokeh.models import (
    ColumnDataSource,
    DataRange1d,
    DatetimeTicker,
    DatetimeTickFormatter,
    HoverTool,
    Range,
    Range1d,
)
from bokeh.plotting import figure

from models.bloom.hindcast import Lead
from service.board.charts import CHART_INK, LEAF, MUTED, PLUM, Chart, chart, plain_figure, tip
from service.usecases.hindcast_documents import HindcastDocument, HindcastRow, LeadScore
from service.words.forecast import lead_words, short_lead
from service.words.plain import in_words

PICTURED_YEAR = 2001  # all seasons lie upon each other in one year


@dataclass(frozen=True, eq=False)
class SkillPictures:
    """Charts of one stage, and the numbers in them; ``scatter`` is about one lead."""

    scatter: Chart | None
    error: Chart
    coverage: Chart
    scores: tuple[LeadScore, ...]
    past: tuple[HindcastRow, ...]


def skill_pictures(
    report: HindcastDocument, vineyard: str, *, stage: str, lead: Lead, past_only: bool
) -> SkillPictures:
    """Charts and tables of a report: of what the seasons before alone would have told, or all others."""
    told = report.past_scores if past_only else report.scores
    scores = [score for score in told if score.stage == stage and score.cultivar is None and score.n]
    scores.sort(key=lambda score: not isinstance(score.lead, int))  # the leads in days stand together
    rows = report.past_rows if past_only else report.rows
    past = [row for row in rows if (row.stage, row.lead, row.vineyard) == (stage, lead, vineyard)]
    drawn = [row for row in past if row.median is not None]
    return SkillPictures(
        scatter=chart("scatter-chart", _scatter(drawn)) if drawn else None,
        error=chart("error-chart", _error_by_lead(scores)),
        coverage=chart("coverage-chart", _coverage_by_lead(scores, report.interval)),
        scores=tuple(scores),
        past=tuple(past),
    )


def _pictured(day: dt.date, season: int) -> dt.datetime:
    """The same day of the season in the pictured year."""
    return dt.datetime(PICTURED_YEAR, 1, 1, tzinfo=dt.UTC) + (day - dt.date(season, 1, 1))


def _scatter(past: Sequence[HindcastRow]) -> figure:
    observed = [_pictured(row.observed, row.season) for row in past]
    forecast = [_pictured(row.median, row.season) for row in past if row.median is not None]
    source = ColumnDataSource(
        {
            "observed": observed,
            "forecast": forecast,
            "said": [f"{row.block}, {row.season}" for row in past],
            "observed_text": [in_words(row.observed) for row in past],
            "forecast_text": [in_words(row.median) for row in past if row.median is not None],
        }
    )
    ends = [min(observed + forecast) - dt.timedelta(days=2), max(observed + forecast) + dt.timedelta(days=2)]
    drawn = plain_figure(
        height=360,
        x_axis_type="datetime",
        y_axis_type="datetime",
        x_axis_label="observed",
        y_axis_label="forecast (median)",
        x_range=Range1d(start=ends[0], end=ends[1]),
        y_range=Range1d(start=ends[0], end=ends[1]),
    )
    days = DatetimeTickFormatter(days="%e %b", months="%e %b", years="%e %b")
    drawn.xaxis.formatter = drawn.yaxis.formatter = days
    drawn.xaxis.ticker = DatetimeTicker(desired_num_ticks=3)
    drawn.line(
        ends, ends, color=MUTED, line_dash="dashed", line_width=1.5, legend_label="forecast = observed"
    )
    points = drawn.scatter(
        "observed", "forecast", source=source, size=9, color=PLUM, alpha=0.6, line_color=CHART_INK
    )
    drawn.add_tools(
        HoverTool(
            renderers=[points],
            tooltips=tip("@said", "observed @observed_text", "forecast @forecast_text"),
        )
    )
    drawn.legend.location = "top_left"
    return drawn


def _lead_figure(scores: Sequence[LeadScore], label: str, y_range: Range) -> figure:
    drawn = plain_figure(
        height=300,
        x_range=[short_lead(score.lead) for score in scores],
        y_axis_label=label,
        y_range=y_range,
        x_axis_label="days ahead",
    )
    drawn.xgrid.grid_line_color = None
    return drawn


def _error_by_lead(scores: Sequence[LeadScore]) -> figure:
    drawn = _lead_figure(scores, "RMSE [days]", DataRange1d(start=0))
    source = _lead_source(scores)
    by_days = _lead_source([score for score in scores if isinstance(score.lead, int)])
    own = "cultivar's own past dates"
    drawn.line("lead", "rmse", source=by_days, color=PLUM, line_width=3)
    drawn.line("lead", "baseline_rmse", source=by_days, color=LEAF, line_width=2, line_dash="dashed")
    drawn.scatter(
        "lead", "baseline_rmse", source=source, color=LEAF, marker="square", size=8, legend_label=own
    )
    ours = drawn.scatter("lead", "rmse", source=source, color=PLUM, size=9, legend_label="forecast")
    drawn.add_tools(
        HoverTool(
            renderers=[ours],
            mode="vline",
            tooltips=tip("@said", "forecast @rmse_text", "own past dates @baseline_rmse_text"),
        )
    )
    drawn.legend.location = "bottom_left"
    drawn.legend.background_fill_alpha = 0.7
    return drawn


def _coverage_by_lead(scores: Sequence[LeadScore], interval: float) -> figure:
    drawn = _lead_figure(scores, "share inside the interval", Range1d(start=0, end=1.05))
    source = _lead_source(scores)
    bars = drawn.vbar("lead", top="coverage", width=0.55, source=source, color=PLUM, alpha=0.75)
    drawn.hspan(y=[interval], line_color=CHART_INK, line_dash="dashed", line_width=2)
    drawn.add_tools(HoverTool(renderers=[bars], mode="vline", tooltips=tip("@said", "inside @coverage_text")))
    return drawn


def _lead_source(scores: Sequence[LeadScore]) -> ColumnDataSource:
    nothing = float("nan")

    def column(name: str) -> list[float]:
        return [nothing if (value := getattr(score, name)) is None else value for score in scores]

    def days(name: str) -> list[str]:
        return ["" if (value := getattr(score, name)) is None else f"{value:.1f} days" for score in scores]

    return ColumnDataSource(
        {
            "lead": [short_lead(score.lead) for score in scores],
            "said": [lead_words(score.lead) for score in scores],
            "rmse": column("rmse"),
            "baseline_rmse": column("baseline_rmse"),
            "coverage": column("coverage"),
            "rmse_text": days("rmse"),
            "baseline_rmse_text": days("baseline_rmse"),
            "coverage_text": ["" if score.coverage is None else f"{score.coverage:.0%}" for score in scores],
        }
    )
