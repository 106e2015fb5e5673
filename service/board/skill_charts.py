"""The hindcast as charts and tables: forecast against observed, error and coverage by lead."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from models.bloom.hindcast import Lead
from service.board.charts import Chart, Column, Dot, Line, Scale, Tick, path
from service.usecases.hindcast_documents import HindcastDocument, HindcastRow, LeadScore
from service.words.forecast import lead_words, short_lead
from service.words.language import N_, _
from service.words.plain import in_words, percent, short_date

PICTURED_YEAR = 2001  # all seasons lie upon each other in one year
MARGIN_DAYS = 2
DAYS_BETWEEN_TICKS = 7
MOST_DATES = 6
HEADROOM = 1.1
OWN = N_("cultivar's own past dates")


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
    drawn = [(row, row.median) for row in past if row.median is not None]
    return SkillPictures(
        scatter=_scatter(drawn) if drawn else None,
        error=_error_by_lead(scores),
        coverage=_coverage_by_lead(scores, report.interval),
        scores=tuple(scores),
        past=tuple(past),
    )


def _pictured(day: dt.date, season: int) -> int:
    """The same day of the season in the pictured year, as a number. [day]"""
    return dt.date(PICTURED_YEAR, 1, 1).toordinal() + (day - dt.date(season, 1, 1)).days


def _scatter(past: Sequence[tuple[HindcastRow, dt.date]]) -> Chart:
    observed = [_pictured(row.observed, row.season) for row, _ in past]
    forecast = [_pictured(median, row.season) for row, median in past]
    first, last = min(observed + forecast) - MARGIN_DAYS, max(observed + forecast) + MARGIN_DAYS
    across, up = Scale(first, last), Scale(first, last, "downward")
    step = max(DAYS_BETWEEN_TICKS, -(-(last - first) // MOST_DATES))
    dates = [(day, short_date(dt.date.fromordinal(day))) for day in range(first + MARGIN_DAYS, last, step)]
    return Chart(
        id="scatter-chart",
        x_label=_("observed"),
        y_label=_("forecast (median)"),
        x_ticks=tuple(Tick(across.at(day), said) for day, said in dates),
        y_ticks=tuple(Tick(up.at(day), said) for day, said in dates),
        lines=(Line("usual", _("forecast = observed"), path([(0, 100), (100, 0)])),),
        dots=tuple(
            Dot(
                "this",
                across.at(seen),
                up.at(told),
                _(
                    "{block}, {season}: observed {observed}, forecast {forecast}",
                    block=row.block,
                    season=row.season,
                    observed=in_words(row.observed),
                    forecast=in_words(median),
                ),
            )
            for (row, median), seen, told in zip(past, observed, forecast, strict=True)
        ),
    )


def _slots(scores: Sequence[LeadScore]) -> tuple[list[float], tuple[Tick, ...]]:
    """The middle of each lead's place along the picture, and its label."""
    middles = [100 * (index + 0.5) / max(len(scores), 1) for index in range(len(scores))]
    ticks = (Tick(x, short_lead(score.lead)) for x, score in zip(middles, scores, strict=True))
    return middles, tuple(ticks)


def _error_by_lead(scores: Sequence[LeadScore]) -> Chart:
    middles, ticks = _slots(scores)
    most = max((rmse for score in scores for rmse in (score.rmse, score.baseline_rmse) if rmse), default=1.0)
    up = Scale(0.0, HEADROOM * most, "downward")
    lines, dots = [], []
    for role, name, title in (("usual", "baseline_rmse", OWN), ("this", "rmse", N_("forecast"))):
        told = [(x, score, getattr(score, name)) for x, score in zip(middles, scores, strict=True)]
        known = [(x, score, rmse) for x, score, rmse in told if rmse is not None]
        by_days = path((x, up.at(rmse)) for x, score, rmse in known if isinstance(score.lead, int))
        lines.append(Line(role, _(title), by_days))
        dots += [
            Dot(
                role,
                x,
                up.at(rmse),
                _(
                    "{lead}: {what} {days} days",
                    lead=lead_words(score.lead),
                    what=_(title),
                    days=f"{rmse:.1f}",
                ),
            )
            for x, score, rmse in known
        ]
    return Chart(
        id="error-chart",
        x_label=_("days ahead"),
        y_label=_("RMSE [days]"),
        x_ticks=ticks,
        y_ticks=up.round_ticks(),
        lines=tuple(lines),
        dots=tuple(dots),
    )


def _coverage_by_lead(scores: Sequence[LeadScore], interval: float) -> Chart:
    middles, ticks = _slots(scores)
    up = Scale(0.0, 1.0, "downward")
    width = 55 / max(len(scores), 1)
    return Chart(
        id="coverage-chart",
        x_label=_("days ahead"),
        y_label=_("share inside the interval"),
        x_ticks=ticks,
        y_ticks=tuple(Tick(up.at(share), percent(share)) for share in (0.0, 0.25, 0.5, 0.75, 1.0)),
        columns=tuple(
            Column(
                x - width / 2,
                width,
                100 * score.coverage,
                _("{lead}: {share} inside", lead=lead_words(score.lead), share=percent(score.coverage)),
            )
            for x, score in zip(middles, scores, strict=True)
            if score.coverage is not None
        ),
        lines=(Line("usual", _("where it should be"), path([(0, up.at(interval)), (100, up.at(interval))])),),
    )
