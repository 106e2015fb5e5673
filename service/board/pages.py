"""Templates to pages, and errors to pages."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Coroutine, Mapping
from http import HTTPStatus
from typing import Annotated, Any

from fastapi import HTTPException, Query, Request, Response
from fastapi.exceptions import RequestValidationError
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from pydantic import BeforeValidator
from starlette.responses import HTMLResponse

from models.errors import CapfallError
from models.units import fahrenheit_days_from_celsius_days, fahrenheit_from_celsius, feet_from_metres
from models.vineyard.scouting import alike
from service.store.errors import StoreError
from service.web.kept import KeptRoute
from service.web.problems import BAD_INPUT, KINDS, located
from service.web.units import Units
from service.words.errors import Reader, error_words
from service.words.forecast import lead_words, stage_words, why_no_window
from service.words.plain import day_count, in_words, listed, percent, sentence
from service.words.pollen import warning_words
from service.words.scouting import TASK_NAMES, look_for, weekday_name, why_look, why_missed
from service.words.set_aside import why_set_aside

# No script, picture or style from elsewhere, whatever a name or a note says. The map's shape is a style attribute.
HEADERS = {
    "Content-Security-Policy": (
        "default-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; object-src 'none'; "
        "base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cache-Control": "private, no-cache",
}
SHORT_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

AsOf = Annotated[dt.date | None, BeforeValidator(lambda told: told or None), Query()]
Interval = Annotated[float, Query(gt=0, lt=1)]


def short_date(day: dt.date) -> str:
    """A date as in "9 Jun"."""
    return f"{day.day} {SHORT_MONTHS[day.month - 1]}"


def long_date(day: dt.date) -> str:
    """A date as in "Tuesday 9 June 2026"."""
    return f"{weekday_name(day)} {in_words(day)} {day.year}"


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
        "in_words": in_words,
        "percent": percent,
        "listed": listed,
        "sentence": sentence,
        "days": day_count,
        "heat": told_heat,
        "temperature": told_temperature,
        "distance": told_length,
        "stage": stage_words,
        "lead": lead_words,
        "warning_words": warning_words,
        "alike": alike,
        "task_name": TASK_NAMES.__getitem__,
        "look_for": look_for,
        "why_look": why_look,
        "why_missed": why_missed,
        "why_no_window": why_no_window,
        "why_set_aside": why_set_aside,
        "x": lambda position: Markup(f"{position:.2f}%"),
    }
    return made


TEMPLATES = _environment()


def page(template: str, /, *, status: int = 200, **context: Any) -> HTMLResponse:
    """A page made from a template."""
    return HTMLResponse(TEMPLATES.get_template(template).render(context), status, HEADERS)


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
    problems = [(found.where, found.problem) for found in located(error)]
    return {
        "status": kind.status,
        "title": kind.title,
        "detail": sentence(error_words(error, Reader.PAGE)),
        "problems": problems,
    }


class PageRoute(KeptRoute):
    """A route whose errors are pages too, in the words of the API's problems."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """The handler, with errors that were raised on purpose told on a page."""
        handle = super().get_route_handler()

        async def handled(request: Request) -> Response:
            try:
                return await handle(request)
            except (CapfallError, StoreError, RequestValidationError, HTTPException) as error:
                return page("problem.html", **told(error))

        return handled
