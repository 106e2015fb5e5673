"""Templates to pages, and errors to pages."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Coroutine, Mapping, Sequence
from http import HTTPStatus
from typing import Annotated, Any, get_args
from urllib.parse import urlencode

from fastapi import Cookie, Depends, HTTPException, Query, Request, Response
from fastapi.exceptions import RequestValidationError
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from pydantic import BeforeValidator
from starlette.responses import HTMLResponse, RedirectResponse

from models.errors import CapfallError, Problem
from models.units import fahrenheit_days_from_celsius_days, fahrenheit_from_celsius, feet_from_metres
from models.vineyard.scouting import alike
from service.store.errors import StoreError
from service.web.access import KEY_NEEDED, WhichGrower, asker_may
from service.web.grower_path import address_in, keep_grower
from service.web.kept import KeptRoute
from service.web.problems import BAD_INPUT, KINDS, Kind, located
from service.web.units import Units
from service.words.errors import Reader, error_words
from service.words.forecast import lead_words, stage_words, why_no_window
from service.words.jobs import job_words
from service.words.plain import day_count, in_words, listed, percent, sentence, short_date, short_span
from service.words.pollen import SHORT, warning_words
from service.words.roles import MAY
from service.words.scouting import (
    TASK_NAMES,
    best_look_words,
    look_for,
    narrows_words,
    visit_words,
    weekday_name,
    why_look,
    why_missed,
)
from service.words.season import STANDINGS, few
from service.words.set_aside import why_set_aside

OURS = {"Capfall-Page": "1"}  # what keeps pages on a phone knows ours by it
UNITS_COOKIE = "capfall_units"
A_YEAR = 365 * 24 * 3600  # [s]

AsOf = Annotated[dt.date | None, BeforeValidator(lambda told: told or None), Query()]
Done = Annotated[int | None, Query(ge=1, le=2**31 - 1)]
Interval = Annotated[float, Query(gt=0, lt=1)]


def page_units(
    units: Annotated[Units | None, Query()] = None,
    kept: Annotated[str | None, Cookie(alias=UNITS_COOKIE, max_length=10)] = None,
) -> Units:
    """The units that are asked for, else those chosen before on this device."""
    if units is not None:
        return units
    return "us" if kept == "us" else "metric"


PageUnits = Annotated[Units, Depends(page_units)]


def here(vineyard: str, path: str = "", *, change: int | None = None, **more: str) -> str:
    """The address of one of a vineyard's pages; ``change`` is what was just written, which it offers to undo."""
    query = urlencode(more if change is None else {**more, "change": str(change)})
    return f"/vineyards/{vineyard}" + (f"/{path}" if path else "") + (f"?{query}" if query else "")


def long_date(day: dt.date) -> str:
    """A date as in "Tuesday 9 June 2026"."""
    return f"{weekday_name(day)} {in_words(day)} {day.year}"


def short_day(day: dt.date) -> str:
    """A day as in "Sun 24 May"."""
    return f"{weekday_name(day)[:3]} {short_date(day)}"


def told_heat(heat_c_day: float, units: Units) -> str:
    """Accumulated heat with its unit."""
    if units == "us":
        return f"{fahrenheit_days_from_celsius_days(heat_c_day):,.0f} °F·day"
    return f"{heat_c_day:,.0f} °C·day"


def told_temperature(temperature_c: float, units: Units) -> str:
    """A temperature with its unit."""
    return f"{fahrenheit_from_celsius(temperature_c):.0f} °F" if units == "us" else f"{temperature_c:g} °C"


def told_length(length_m: float, units: Units) -> str:
    """A length with its unit."""
    return f"{feet_from_metres(length_m):.0f} ft" if units == "us" else f"{length_m:.4g} m"


def in_units(length_m: float, units: Units) -> str:
    """A length as a field holds it, without its unit."""
    return f"{feet_from_metres(length_m):.6g}" if units == "us" else f"{length_m:.6g}"


def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("service.board"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters |= {
        "short_date": short_date,
        "long_date": long_date,
        "short_day": short_day,
        "span": lambda span: short_span(*span),
        "in_words": in_words,
        "percent": percent,
        "listed": listed,
        "sentence": sentence,
        "job_words": job_words,
        "days": day_count,
        "heat": told_heat,
        "temperature": told_temperature,
        "distance": told_length,
        "in_units": in_units,
        "stage": stage_words,
        "lead": lead_words,
        "may": MAY.__getitem__,
        "warning_words": warning_words,
        "cause": SHORT.__getitem__,
        "standing": STANDINGS.__getitem__,
        "few": few,
        "alike": alike,
        "task_name": TASK_NAMES.__getitem__,
        "look_for": look_for,
        "why_look": why_look,
        "seen": visit_words,
        "why_missed": why_missed,
        "best_look_words": best_look_words,
        "narrows_words": narrows_words,
        "why_no_window": why_no_window,
        "why_set_aside": why_set_aside,
        "dict_with": lambda told, **more: {**told, **more},
        "x": lambda position: Markup(f"{position:.2f}%"),
    }
    made.globals["asker_may"] = asker_may
    return made


TEMPLATES = _environment()


def page(template: str, /, *, status: int = 200, **context: Any) -> HTMLResponse:
    """A page made from a template."""
    return HTMLResponse(TEMPLATES.get_template(template).render(context), status, OURS)


def sign_in_page(
    request: Request, *, to: str | None = None, wrong: str | None = None, status: int = 401
) -> HTMLResponse:
    """The page that asks for a key, and leads on to the one that was asked for."""
    if to is None:
        asked = request.url.query
        to = (request.scope["path"] + (f"?{asked}" if asked else "")) if request.method == "GET" else "/"
        grower = request.scope.get("grower")
        to = to if grower is None else address_in(grower, to)
    answer = page("sign_in.html", status=status, to=to, wrong=wrong)
    if status == 401:
        answer.headers.update(KEY_NEEDED)
    return answer


def told(error: Exception) -> Mapping[str, Any]:
    """Status, title, detail and located problems of an error, for the page about it."""
    match error:
        case RequestValidationError():
            detail = "The address or the form holds something that cannot be read."
            problems = [(str(found["loc"][-1]), str(found["msg"])) for found in error.errors()]
            return {
                "status": BAD_INPUT.status,
                "title": BAD_INPUT.title,
                "detail": detail,
                "problems": problems,
            }
        case HTTPException():
            title = HTTPStatus(error.status_code).phrase
            return {"status": error.status_code, "title": title, "detail": str(error.detail), "problems": []}
    kind = next((kind for raised, kind in KINDS if isinstance(error, raised)), BAD_INPUT)
    # a page sends one record: its place in what is stored at once says nothing to who typed it
    problems = [("" if found.where == "body.0" else found.where, found.problem) for found in located(error)]
    return {
        "status": kind.status,
        "title": kind.title,
        "detail": sentence(error_words(error, Reader.PAGE)),
        "problems": problems,
    }


def problem_page(
    request: Request, kind: Kind, detail: str, errors: Sequence[Problem], headers: Mapping[str, str] | None
) -> HTMLResponse:
    """The page about a problem that was noticed outside of the page routes: an unknown address, a fault of ours."""
    problems = [(each.where, each.problem) for each in errors]
    shown = page(
        "problem.html",
        status=kind.status,
        title=kind.title,
        detail=sentence(detail),
        problems=problems,
        sent=_sent(request),
    )
    shown.headers.update(headers or {})
    return shown


def _sent(request: Request) -> bool:
    """Whether a form was sent, to which one may want to go back."""
    return request.method == "POST"


class PageRoute(KeptRoute):
    """A route whose errors are pages too, in the words of the API's problems."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """The handler, with errors that were raised on purpose told on a page."""
        handle = super().get_route_handler()

        async def handled(request: Request) -> Response:
            try:
                answer = await handle(request)
            except WhichGrower:
                return RedirectResponse("/roster", 303)
            except HTTPException as error:
                if error.status_code == 401:
                    return sign_in_page(request, wrong=str(error.detail) if request.cookies else None)
                return page("problem.html", **told(error), sent=_sent(request))
            except (CapfallError, StoreError, RequestValidationError) as error:
                return page("problem.html", **told(error), sent=_sent(request))
            units = request.query_params.get("units", "")
            if units in get_args(Units):
                answer.set_cookie(UNITS_COOKIE, units, max_age=A_YEAR, httponly=True, samesite="lax")
            return keep_grower(request, answer)

        return handled
