"""The board of one vineyard's season."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, get_args
from urllib.parse import urlencode

from fastapi import Form, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse

from models.errors import CapfallError, NotEnoughData
from models.vineyard.season_state import A_WEEK, season_state, week_ahead
from service import clock
from service.board.bars import shown_days
from service.board.heat_chart import HeatPicture, heat_picture
from service.board.pages import AsOf, Interval, PageUnits, page, pages, told_temperature
from service.board.season_view import Row, Show, doubtful_visits, season_view, stale_since
from service.board.time_axis import ONE_DAY
from service.store.records import FitSummary, Job, Vineyard
from service.store.repositories import Repositories
from service.store.results import UNFINISHED
from service.usecases.beginnings import beginning
from service.usecases.cautions import cautions_of
from service.usecases.fit_in_use import NoFitInUse
from service.usecases.fit_jobs import KIND, start_fit
from service.usecases.fits import FitOptions, get_fit, plan_fit
from service.usecases.forecasts import VineyardForecast, stored_forecast
from service.usecases.frost import look_for_frost
from service.usecases.fruit_set import set_so_far
from service.usecases.heat import compare_season
from service.usecases.pollen import pollinate
from service.usecases.scouting import plan_scouting
from service.web.access import Grower
from service.web.kept import KEPT, not_kept
from service.web.keys import VineyardKey
from service.web.records import changing, jobs, store
from service.web.turns import HEAVY
from service.web.units import Units
from service.words.cautions import caution_texts
from service.words.errors import Reader, error_words
from service.words.forecast import stage_frost_points
from service.words.heat_rules import rule_words, why_chosen
from service.words.season import state_words

router = pages(KEPT, HEAVY)

INTERVALS = (0.5, 0.8, 0.9, 0.95)
MOST_SLIPS = 20


@router.get("/vineyards/{vineyard}")
def season_board(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    units: PageUnits,
    as_of: AsOf = None,
    interval: Interval = 0.8,
    show: Show = "all",
    recorded: Annotated[str | None, Query(max_length=63)] = None,
    fitting: Annotated[str | None, Query(max_length=63)] = None,
) -> HTMLResponse:
    """Bloom windows, pollen, heat and trips as of a day."""
    if fitting is not None:
        not_kept(request)
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        today = clock.today(known.timezone)
        day = today if as_of is None else as_of
        common: dict[str, Any] = {
            "as_of": day,
            "today": today,
            "interval": interval,
            "intervals": sorted({*INTERVALS, interval}),
            "units": units,
            "recorded": recorded,
            "job": None if fitting is None else _fit_job(records, fitting),
            "asked": {"as_of": day.isoformat(), "interval": f"{interval:g}", "units": units},
        }
        try:
            foreseen = stored_forecast(records, vineyard, as_of=day, fit=None, interval=interval)
        except CapfallError as error:
            lacks_fit = isinstance(error, NoFitInUse)
            return page(
                "no_fit.html",
                status=409 if lacks_fit else 200,
                vineyard=known,
                why="" if lacks_fit else error_words(error, Reader.PAGE),
                known=beginning(records, vineyard, as_of=day),
                fits=[_about(records, summary) for summary in records.fits.all()],
                **common,
            )
        kept = records.visits.kept(vineyard)
        doubtful = doubtful_visits(foreseen, kept)
        claim = set_so_far(records, vineyard, foreseen.forecast.season)
        heat, why_no_heat = _heat(records, known, foreseen, units)
    pollen = pollinate(foreseen)
    frost = look_for_frost(foreseen)
    plan = plan_scouting(foreseen)
    view = season_view(foreseen, pollen.blocks)
    within: dict[Show, list[Row]] = {
        each: [row for row in view.rows if row.within(each, day)] for each in get_args(Show)
    }
    return page(
        "season.html",
        vineyard=known,
        forecast=foreseen.forecast,
        fit=foreseen.fit,
        rule=rule_words(foreseen.fit.fit.rule, us=units == "us"),
        why_rule=None if foreseen.fit.search is None else why_chosen(foreseen.fit.search.why),
        slips=foreseen.fit.fit.set_aside[:MOST_SLIPS],
        more_slips=max(len(foreseen.fit.fit.set_aside) - MOST_SLIPS, 0),
        state=state_words(season_state(foreseen.forecast.blocks, pollen.blocks, day)),
        week=week_ahead(plan, pollen.blocks, day),
        last_of_week=day + A_WEEK - ONE_DAY,
        last_visit=max((each.visit.date for each in kept if each.visit.date <= day), default=None),
        view=view,
        show=show,
        shown=within[show],
        counts={each: len(rows) for each, rows in within.items()},
        asked_of_form={} if as_of is None else {"as_of": day.isoformat()},
        reach_m=pollen.reach_m,
        heat=heat,
        why_no_heat=why_no_heat,
        plan=plan,
        stale_since=stale_since(foreseen),
        frost_chance=max((block.chance or 0.0 for block in frost.blocks.values()), default=0.0),
        frost_limit_c=frost.limit_c,
        stage_frost=stage_frost_points(
            list(frost.blocks.values()), lambda limit: told_temperature(limit, units)
        ),
        doubtful=doubtful,
        notes={row.bar.block: row.pollen.notes for row in view.rows if row.pollen is not None},
        cautions=caution_texts(cautions_of(foreseen, pollen=pollen, frost=frost, set_claim=claim)),
        **common,
    )


def _fit_job(records: Repositories, id: str) -> Job | None:
    """The job that makes, or made, a fit."""
    job = records.jobs.get(id)
    return job if job.kind == KIND else None


def _about(records: Repositories, summary: FitSummary) -> dict[str, Any]:
    """What tells a fit from others: where it comes from, and what it knows."""
    saved = get_fit(records, summary.id)
    return {
        "id": saved.id,
        "made": summary.created_at.date(),
        "imported": saved.imported,
        "vineyards": saved.vineyards,
        "seasons": saved.fit.seasons,
    }


def _heat(
    records: Repositories, vineyard: Vineyard, foreseen: VineyardForecast, units: Units
) -> tuple[HeatPicture | None, str | None]:
    fit, found = foreseen.fit.fit, foreseen.forecast
    assert vineyard.station is not None
    try:
        compared = compare_season(
            records, vineyard.station, season=found.season, rule=fit.rule, gap_rule=fit.gap_rule
        )
    except NotEnoughData as error:
        return None, error_words(error, Reader.PAGE)
    last = max([found.as_of, *shown_days(found.blocks)])
    return heat_picture(compared, as_of=found.as_of, last_day=last, units=units), None


@router.post("/vineyards/{vineyard}/fit")
def fit_again(
    request: Request, vineyard: VineyardKey, grower: Grower, as_of: AsOf = None
) -> RedirectResponse:
    """Let a fit be made from all that is known of the vineyard, and show the board, which tells how far it is."""
    kept = store(request)
    with kept.transaction(grower, read_only=True) as records:
        job = records.jobs.latest(KIND, vineyard, *UNFINISHED)
    if job is None:
        task = plan_fit(kept, grower, vineyards=[vineyard], options=FitOptions())
        job = start_fit(kept, jobs(request), grower, task)
    return RedirectResponse(board_address(vineyard, as_of, fitting=job.id), 303)


@router.post("/vineyards/{vineyard}/fit-in-use")
def use_fit(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    fit: Annotated[str, Form(max_length=63)],
    as_of: AsOf = None,
) -> RedirectResponse:
    """Put a fit in use, and show the board."""
    with changing(request, grower, preview=False) as records:
        records.fits_in_use.put(vineyard, fit)
    return RedirectResponse(board_address(vineyard, as_of), 303)


def board_address(vineyard: str, as_of: dt.date | None, **more: str) -> str:
    """The address of a vineyard's board."""
    asked = {} if as_of is None else {"as_of": as_of.isoformat()}
    query = urlencode(asked | more)
    return f"/vineyards/{vineyard}" + (f"?{query}" if query else "")
