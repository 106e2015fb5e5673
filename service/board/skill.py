"""How good the forecasts of past seasons would have been, as pictures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any, TypeVar

from fastapi import Query, Request
from starlette.responses import HTMLResponse, RedirectResponse

from models.bloom.hindcast import Lead
from service.board.pages import AsOf, PageUnits, page, pages
from service.board.skill_charts import skill_pictures
from service.store.records import FitSummary
from service.store.repositories import Repositories
from service.store.results import UNFINISHED
from service.usecases.fit_in_use import NoFitInUse, fit_for
from service.usecases.fits import get_fit
from service.usecases.hindcast_documents import HindcastDocument, LeadScore
from service.usecases.hindcast_jobs import KIND, AskedHindcast, NotEnded, hindcast_of, start_hindcast
from service.web.access import Grower
from service.web.keys import VineyardKey
from service.web.records import jobs, store
from service.words.errors import Reader, error_words
from service.words.forecast import lead_words, skill_words, stage_words
from service.words.hindcast import how_made
from service.words.jobs import job_words
from service.words.language import N_, _
from service.words.set_aside import set_aside_words

# What the forecasts of a season could learn from.
LEARNED_FROM = {"past": N_("the seasons before it"), "others": N_("all other seasons")}
Choice = TypeVar("Choice", str, Lead)

router = pages()


@router.get("/vineyards/{vineyard}/skill")
def skill_page(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    units: PageUnits,
    stage: Annotated[str | None, Query(max_length=40)] = None,
    lead: Annotated[str | None, Query(max_length=40)] = None,
    learned_from: Annotated[str | None, Query(max_length=40)] = None,
    fit: Annotated[str | None, Query(max_length=63)] = None,
    as_of: AsOf = None,
) -> HTMLResponse:
    """The hindcast of the vineyard's fit in use; how to run it where there is none, and how far it is while it runs.
    That of another fit, where one is chosen.
    """
    asked = {"units": units} | ({} if as_of is None else {"as_of": as_of.isoformat()})
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        try:
            shown = fit_for(records, vineyard, fit)
        except NoFitInUse as error:
            why = error_words(error, Reader.PAGE)
            others = _hindcast_fits(records, vineyard, None)
            return page(
                "skill.html",
                vineyard=known,
                asked=asked,
                job=None,
                report=None,
                why=why,
                fit=None,
                others=others,
            )
        in_use = records.fits_in_use.get(vineyard)
        job = records.jobs.latest(KIND, shown.id, *UNFINISHED)
        report, why = _report(records, shown.id)
        others = _hindcast_fits(records, vineyard, shown.id)
    return page(
        "skill.html",
        vineyard=known,
        asked=asked,
        job=job,
        why=why,
        fit=shown,
        chosen=in_use is None or in_use.fit != shown.id,
        others=others,
        report=None if report is None else _shown(report, vineyard, stage, lead, learned_from),
    )


def _hindcast_fits(records: Repositories, vineyard: str, shown: str | None) -> list[FitSummary]:
    """The vineyard's fits that have a hindcast, but for the one that is shown."""
    return [
        each
        for each in records.fits.all()
        if each.id != shown
        and records.jobs.latest(KIND, each.id, "done") is not None
        and vineyard in get_fit(records, each.id).vineyards
    ]


def _report(records: Repositories, fit: str) -> tuple[HindcastDocument | None, str]:
    try:
        return hindcast_of(records, fit), ""
    except NotEnded:
        failed = records.jobs.latest(KIND, fit, "failed")
        return None, "" if failed is None else job_words(failed.message)


def _shown(
    report: HindcastDocument,
    vineyard: str,
    asked_stage: str | None,
    asked_lead: str | None,
    asked_from: str | None,
) -> dict[str, Any]:
    ways = [way for way in LEARNED_FROM if way == "others" or report.past_scores]
    learned_from = _chosen(asked_from, ways, "past")
    past_only = learned_from == "past"
    rows = report.past_rows if past_only else report.rows
    leads: list[Lead] = list(dict.fromkeys(row.lead for row in rows))
    stage = _chosen(asked_stage, report.stages, "full_bloom")
    lead = _chosen(asked_lead, leads, 14)
    pictures = skill_pictures(report, vineyard, stage=stage, lead=lead, past_only=past_only)
    return {
        "said": _said(stage, lead, pictures.scores, report.interval),
        "stage": stage,
        "stages": [(key, stage_words(key)) for key in report.stages],
        "lead": lead,
        "leads": [(key, lead_words(key)) for key in leads],
        "lead_words": lead_words(lead),
        "learned_from": learned_from,
        "ways": [(way, _(LEARNED_FROM[way])) for way in ways],
        "interval": report.interval,
        "made": how_made(searched=report.searched, interval=report.interval),
        "not_scored": [set_aside_words(told) for told in report.not_scored],
        "pictures": pictures,
    }


def _said(stage: str, lead: Lead, scores: Sequence[LeadScore], interval: float) -> str:
    """What the figures of one lead mean; nothing where none could be scored."""
    score = next((each for each in scores if each.lead == lead), None)
    if score is None or score.rmse is None or score.baseline_rmse is None or score.coverage is None:
        return ""
    return skill_words(
        stage,
        lead,
        n=score.n,
        rmse=score.rmse,
        usual_rmse=score.baseline_rmse,
        coverage=score.coverage,
        interval=interval,
    )


def _chosen(asked: str | None, choices: Sequence[Choice], usual: Choice) -> Choice:
    """What was asked for if there is such a thing, else the usual one, else the first."""
    by_name = {str(each): each for each in choices}
    return next(
        (by_name[name] for name in (asked, str(usual)) if name in by_name), next(iter(choices), usual)
    )


@router.post("/vineyards/{vineyard}/skill")
def start_from_page(
    request: Request, vineyard: VineyardKey, grower: Grower, as_of: AsOf = None
) -> RedirectResponse:
    """Start the hindcast of the vineyard's fit, unless it runs already, and show how far it is."""
    kept = store(request)
    with kept.transaction(grower, read_only=True) as records:
        fit = fit_for(records, vineyard, None)
    start_hindcast(kept, jobs(request), grower, fit.id, AskedHindcast())
    query = "" if as_of is None else f"?as_of={as_of}"
    return RedirectResponse(f"/vineyards/{vineyard}/skill{query}", 303)
