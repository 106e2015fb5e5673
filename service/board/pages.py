"""Templates to pages, and errors to pages."""

from __future__ import annotations

from collections.abc import Callable, Coroutine, Mapping, Sequence
from http import HTTPStatus
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, HTTPException, Query, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.exceptions import RequestValidationError
from fastapi.params import Depends as Needed
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from pydantic import BeforeValidator
from starlette.responses import HTMLResponse, RedirectResponse
from starlette.routing import Match

from models.errors import CapfallError, Problem
from models.units import (
    fahrenheit_days_from_celsius_days,
    fahrenheit_from_celsius,
    fahrenheit_steps_from_celsius_steps,
    feet_from_metres,
)
from models.vineyard.scouting import alike
from service.board.bars import role_words
from service.store.errors import StoreError
from service.web.access import KEY_NEEDED, WhichGrower, asker_may
from service.web.days import IsoDate
from service.web.grower_path import address_in, keep_grower, only_grower_with
from service.web.kept import KeptRoute
from service.web.origins import cookie_name
from service.web.problems import BAD_INPUT, HTTP_KINDS, KINDS, Kind, located
from service.web.reading import lead_to, this_page
from service.web.records import store
from service.web.units import Units
from service.words.errors import Reader, error_words
from service.words.fields import field_words
from service.words.forecast import lead_words, stage_meaning, stage_words, why_no_window
from service.words.jobs import job_words
from service.words.language import OWN_NAMES, _, language, plural, reading
from service.words.plain import (
    day_count,
    exact_date,
    in_words,
    listed,
    long_date,
    percent,
    sentence,
    short_date,
    short_day,
    short_span,
    to,
    with_year,
)
from service.words.pollen_warnings import level_words, short_warning, warning_words
from service.words.roles import may_words
from service.words.scouting import (
    best_look_words,
    flower_words,
    look_for,
    narrows_words,
    task_name,
    visit_words,
    why_look,
    why_missed,
)
from service.words.season import few, standing_words
from service.words.set_aside import why_set_aside

OURS = {"Capfall-Page": "1"}  # what keeps pages on a phone knows ours by it

AsOf = Annotated[IsoDate | None, BeforeValidator(lambda told: told or None), Query()]
Done = Annotated[int | None, Query(ge=1, le=2**31 - 1)]
Interval = Annotated[float, Query(gt=0, lt=1)]


def page_units(units: Annotated[Units | None, Query()] = None) -> Units:
    """The units that are asked for, else those chosen before on this device."""
    return units or ("us" if reading().us else "metric")


PageUnits = Annotated[Units, Depends(page_units)]


def here(vineyard: str, path: str = "", *, change: int | None = None, **more: str) -> str:
    """The address of one of a vineyard's pages; ``change`` is what was just written, which it offers to undo."""
    query = urlencode(more if change is None else {**more, "change": str(change)})
    return f"/vineyards/{vineyard}" + (f"/{path}" if path else "") + (f"?{query}" if query else "")


def told_heat(heat_c_day: float, units: Units) -> str:
    """Accumulated heat with its unit."""
    if units == "us":
        return _("{heat} °F·day", heat=f"{fahrenheit_days_from_celsius_days(heat_c_day):,.0f}")
    return _("{heat} °C·day", heat=f"{heat_c_day:,.0f}")


def told_temperature(temperature_c: float, units: Units) -> str:
    """A temperature with its unit."""
    return f"{fahrenheit_from_celsius(temperature_c):.0f} °F" if units == "us" else f"{temperature_c:g} °C"


def told_length(length_m: float, units: Units) -> str:
    """A length with its unit."""
    return f"{feet_from_metres(length_m):.0f} ft" if units == "us" else f"{length_m:.4g} m"


def in_units(length_m: float, units: Units) -> str:
    """A length as a field holds it, without its unit."""
    return f"{feet_from_metres(length_m):.6g}" if units == "us" else f"{length_m:.6g}"


def in_step(step_c: float, units: Units) -> str:
    """A difference of temperatures as a field holds it, without its unit."""
    return f"{fahrenheit_steps_from_celsius_steps(step_c) if units == 'us' else step_c:.6g}"


def in_page(message: str, /, **values: object) -> Markup:
    """A sentence of a template, which may hold elements; its values are escaped."""
    said = Markup(_(message))
    return said.format(**values) if values else said


def some_in_page(one: str, many: str, count: int, /, **values: object) -> Markup:
    """The same for a number of things."""
    return Markup(plural(one, many, count)).format(count=count, **values)


def other_languages() -> list[tuple[str, str, str]]:
    """Each other language, its own name, and the address of the page in it, or of the one that its form stands on."""
    return [(key, name, this_page(lang=key)) for key, name in OWN_NAMES.items() if key != language()]


def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("service.board"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=["jinja2.ext.i18n"],
    )
    made.globals |= {
        "gettext": in_page,
        "ngettext": some_in_page,
        "language": language,
        "other_languages": other_languages,
        "month_first": lambda: reading().month_first,
    }
    made.filters |= {
        "short_date": short_date,
        "long_date": long_date,
        "short_day": short_day,
        "span": lambda span: short_span(*span),
        "in_words": in_words,
        "with_year": with_year,
        "exact_date": exact_date,
        "to": to,
        "dates": lambda span: short_date(span[0]) if span[0] == span[1] else to(*map(short_date, span)),
        "role": role_words,
        "percent": percent,
        "listed": listed,
        "sentence": sentence,
        "job_words": job_words,
        "days": day_count,
        "heat": told_heat,
        "temperature": told_temperature,
        "distance": told_length,
        "in_units": in_units,
        "in_step": in_step,
        "stage": stage_words,
        "meaning": stage_meaning,
        "flower": flower_words,
        "lead": lead_words,
        "may": may_words,
        "warning_words": warning_words,
        "cause": short_warning,
        "level": level_words,
        "standing": standing_words,
        "few": few,
        "alike": alike,
        "task_name": task_name,
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
        to = _asked_for(request) if request.method == "GET" else "/"
        grower = request.scope.get("grower")
        to = to if grower is None else address_in(grower, to)
    if _sent(request):
        lead_to(to)
    answer = page("sign_in.html", status=status, to=to, wrong=wrong)
    if status == 401:
        answer.headers.update(KEY_NEEDED)
    return answer


def _asked_for(request: Request) -> str:
    """The address of the page that was asked for, as routes know it."""
    asked = request.url.query
    return f"{request.scope['path']}{'?' if asked else ''}{asked}"


async def _of_which_grower(request: Request) -> RedirectResponse:
    """The page at the only grower of the key who has such a vineyard, else all vineyards to choose from."""
    vineyard = request.path_params.get("vineyard")
    if vineyard is None or request.method != "GET":
        return RedirectResponse("/roster", 303)
    growers = request.state.asker.growers
    grower = await run_in_threadpool(only_grower_with, store(request), growers, vineyard)
    return RedirectResponse("/roster" if grower is None else address_in(grower, _asked_for(request)), 303)


def told(error: Exception) -> Mapping[str, Any]:
    """Status, title, detail and located problems of an error, for the page about it."""
    match error:
        case RequestValidationError():
            detail = _("The address or the form holds something that cannot be read.")
            problems = [(field_words(str(found["loc"][-1])), str(found["msg"])) for found in error.errors()]
            return {
                "status": BAD_INPUT.status,
                "title": _(BAD_INPUT.title),
                "detail": detail,
                "problems": problems,
            }
        case HTTPException():
            known = HTTP_KINDS.get(error.status_code)
            title = HTTPStatus(error.status_code).phrase if known is None else _(known.title)
            return {"status": error.status_code, "title": title, "detail": str(error.detail), "problems": []}
    kind = next((kind for raised, kind in KINDS if isinstance(error, raised)), BAD_INPUT)
    # a page sends one record: its place in what is stored at once says nothing to who typed it
    problems = [
        ("" if found.where == "body.0" else field_words(found.where), found.problem)
        for found in located(error)
    ]
    return {
        "status": kind.status,
        "title": _(kind.title),
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
        title=_(kind.title),
        detail=sentence(detail),
        problems=problems,
        sent=_sent(request),
    )
    shown.headers.update(headers or {})
    return shown


def _sent(request: Request) -> bool:
    """Whether a form was sent, to which one may want to go back."""
    return request.method == "POST"


def _page_of_form(request: Request) -> str:
    """The page of the form that was sent: at the address that it was sent to, or the nearest one above."""
    path = request.scope["path"]
    while path:
        asked = {**request.scope, "method": "GET", "path": path}
        if any(route.matches(asked)[0] is Match.FULL for route in request.app.routes):
            return str(path)
        path = path.rpartition("/")[0]
    return "/"


class PageRoute(KeptRoute):
    """A route whose errors are pages too, in the words of the API's problems."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """The handler, with errors that were raised on purpose told on a page."""
        handle = super().get_route_handler()

        async def handled(request: Request) -> Response:
            if _sent(request):
                lead_to(_page_of_form(request))
            try:
                answer = await handle(request)
            except WhichGrower:
                return await _of_which_grower(request)
            except HTTPException as error:
                if error.status_code == 401:
                    return sign_in_page(
                        request, wrong=str(error.detail) if cookie_name(request) in request.cookies else None
                    )
                answer = page("problem.html", **told(error), sent=_sent(request))
            except (CapfallError, StoreError, RequestValidationError) as error:
                answer = page("problem.html", **told(error), sent=_sent(request))
            return keep_grower(request, answer)

        return handled


def pages(*needs: Needed) -> APIRouter:
    """A router for pages; all of them need ``needs``: KEPT or KEPT_WITH_TOLD, HEAVY."""
    return APIRouter(route_class=PageRoute, include_in_schema=False, dependencies=needs)
