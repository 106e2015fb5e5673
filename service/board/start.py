"""First use: the list of vineyards, the demo, and a vineyard made from files."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import File, Form, HTTPException, Request, UploadFile
from starlette.responses import HTMLResponse, RedirectResponse, Response

import demo_weather
from models.errors import BadInput, CapfallError, Problem
from models.records import Planting
from models.units import FEET_PER_METRE
from service import clock
from service.board.fields import (
    DATE_CHOICES,
    SEASON_DATE_CHOICES,
    TEMPLATE_FILES,
    UNIT_CHOICES,
    by_file,
    content_of,
    doubted,
    template_file,
)
from service.board.file_fields import FileFields, SentFields, faults_of, how_to_read
from service.board.pages import Done, here, page, pages
from service.board.season import board_address
from service.clock import check_timezone
from service.ingest.cells import number
from service.store.engine import Store
from service.usecases.demo import load_demo
from service.usecases.fits import FitOptions, make_fit
from service.usecases.keys import Asker
from service.usecases.new_vineyard import FilesRead, NewVineyard, make_vineyard, read_files
from service.usecases.report import ReportFiles
from service.web.access import Asked, Grower
from service.web.edge_words import for_page
from service.web.records import store
from service.words.errors import Reader, error_words
from service.words.language import _, ngettext, reading
from service.words.plain import day_count, long_date

router = pages()


@dataclass(frozen=True, kw_only=True)
class Told(FileFields):
    """What stands in the fields of the form, as it was typed."""

    name: str = ""
    latitude: str = ""
    longitude: str = ""
    reach: str = f"{Planting.reach_m:g}"
    reach_unit: str = "m"
    timezone: str = ""


@router.get("/")
def start(request: Request, who: Asked, grower: Grower, change: Done = None) -> Response:
    """The vineyards that there are, the demo, and the form for a new one; whose key makes none is led on."""
    if not who.may("manage"):
        return RedirectResponse(_first_page(store(request), who, grower), 303)
    us = reading().us
    told = Told(reach="50", reach_unit="ft") if us else Told()
    return _start_page(store(request), grower, told, change=change)


@router.post("/vineyards")
def new_vineyard(
    request: Request,
    grower: Grower,
    fields: SentFields,
    name: Annotated[str, Form(max_length=200)] = "",
    latitude: Annotated[str, Form(max_length=40)] = "",
    longitude: Annotated[str, Form(max_length=40)] = "",
    reach: Annotated[str, Form(max_length=40)] = "",
    reach_unit: Annotated[str, Form(max_length=2)] = "m",
    timezone: Annotated[str, Form(max_length=100)] = "",
    temperatures: Annotated[UploadFile | None, File()] = None,
    planting: Annotated[UploadFile | None, File()] = None,
    bloom_log: Annotated[UploadFile | None, File()] = None,
    visits: Annotated[UploadFile | None, File()] = None,
) -> Response:
    """Make a vineyard from its files and fit it; or show what is wrong in which line, and store nothing."""
    told = Told(
        **vars(fields),
        name=name,
        latitude=latitude,
        longitude=longitude,
        reach=reach,
        reach_unit=reach_unit,
        timezone=timezone,
    )
    files = {
        "temperatures": content_of(temperatures),
        "planting": content_of(planting),
        "bloom_log": content_of(bloom_log),
        "visits": content_of(visits),
    }
    kept = store(request)
    try:
        new = _read_form(told, files)
        sent = ReportFiles(
            files["temperatures"] or b"", files["planting"] or b"", files["bloom_log"], files["visits"]
        )
        how = how_to_read(told, clock.today(new.timezone))
        read = read_files(new, sent, unit=how.unit, spacing=how.spacing, options=how.options)
        with kept.transaction(grower) as records:
            made = make_vineyard(records, new, sent, read, options=how.options)
    except BadInput as error:
        return _start_page(kept, grower, told, error.problems or (Problem("form", error.message),))
    request.state.change = records.journal.number
    why_no_fit = None
    try:
        make_fit(kept, grower, vineyards=[made.key], options=FitOptions())
    except CapfallError as error:  # the files are stored all the same; the board says what is lacking
        why_no_fit = error_words(error, Reader.PAGE)
    if not made.warnings and why_no_fit is None:
        return RedirectResponse(board_address(made.key, None), 303)
    return page(
        "made.html",
        name=new.name,
        key=made.key,
        read=_what_was_read(read),
        warnings=[for_page(warning) for warning in made.warnings],
        why_no_fit=why_no_fit,
        status=201,
    )


@router.post("/demo")
def try_the_demo(request: Request, grower: Grower) -> RedirectResponse:
    """Load the demo, fit it, and show its board. A second time changes nothing."""
    kept = store(request)
    key = demo_weather.VINEYARD.key
    with kept.transaction(grower) as records:
        if key not in {vineyard.key for vineyard in records.vineyards.all()}:
            load_demo(records)
        fitted = records.fits_in_use.get(key) is not None
    if not fitted:
        make_fit(kept, grower, vineyards=[key], options=FitOptions())
    return RedirectResponse(board_address(key, demo_weather.AS_OF), 303)


@router.get("/file-templates/{name}")
def file_template(name: str) -> Response:
    """A file to fill in, with two lines that show how."""
    if name not in TEMPLATE_FILES:
        raise HTTPException(404, _("There is no file template {name}.", name=repr(name)))
    disposition = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(template_file(name), media_type="text/csv; charset=utf-8", headers=disposition)


def _what_was_read(read: FilesRead) -> list[str]:
    """What there was in the files of a vineyard that is made."""
    told = []
    if (weather := read.temperatures) is not None:
        gaps = len(weather.gaps)
        told.append(
            _(
                "temperatures: {days} from {first} to {last}, {gaps}",
                days=day_count(len(weather.dates)),
                first=long_date(weather.first_date),
                last=long_date(weather.last_date),
                gaps=ngettext("{count} gap", "{count} gaps", gaps) if gaps else _("no gap"),
            )
        )
    if read.planting is not None:
        blocks, cultivars = len(read.planting.blocks), len(read.planting.cultivars)
        told.append(
            _(
                "planting: {blocks} of {cultivars}",
                blocks=ngettext("{count} block", "{count} blocks", blocks),
                cultivars=ngettext("{count} cultivar", "{count} cultivars", cultivars),
            )
        )
    if read.bloom_log is not None:
        told.append(_("bloom log: {rows}", rows=_rows(read.bloom_log.rows_read)))
    if read.visits is not None:
        told.append(_("visits: {rows}", rows=_rows(read.visits.rows_read)))
    return told


def _rows(count: int) -> str:
    return ngettext("{count} row", "{count} rows", count)


def _first_page(kept: Store, who: Asker, grower: str) -> str:
    """Where a phone begins: in the only vineyard there is, or in the list of all."""
    with kept.transaction(grower, read_only=True) as records:
        vineyards = records.vineyards.all()
    if len(vineyards) != 1:
        return "/roster"
    return here(vineyards[0].key, "visit" if who.may("record") else "")


def _read_form(told: Told, files: dict[str, bytes | None]) -> NewVineyard:
    problems: list[Problem] = []
    if not told.name.strip():
        problems.append(Problem("name", _("give the vineyard a name")))
    latitude = _number("latitude", told.latitude, 90, problems, least=-90)
    longitude = _number("longitude", told.longitude, 180, problems, least=-180)
    reach = _number("reach", told.reach or Told.reach, 10_000, problems, least=0)
    needed = [name for name in ("temperatures", "planting") if files[name] is None]
    problems += [Problem(name, _("choose the file")) for name in needed]
    if files["bloom_log"] is None and files["visits"] is None:
        problems.append(Problem("bloom_log", _("choose a bloom log, visits, or both")))
    problems += faults_of(told)
    timezone = told.timezone.strip() or None
    if timezone is not None:
        try:
            check_timezone(timezone)
        except BadInput as error:
            problems += error.problems
    if problems:
        raise BadInput(_("the form is not complete"), problems)
    reach_m = reach / FEET_PER_METRE if told.reach_unit == "ft" else reach
    return NewVineyard(told.name.strip(), latitude, longitude, reach_m, timezone)


def _number(where: str, text: str, most: float, problems: list[Problem], *, least: float) -> float:
    try:
        told = number(text.strip())
    except BadInput as error:
        problems.append(Problem(where, error.message if text.strip() else _("is needed")))
        return 0.0
    if not least <= told <= most:
        outside = _(
            "{number} is outside {low} to {high}", number=f"{told:g}", low=f"{least:g}", high=f"{most:g}"
        )
        problems.append(Problem(where, outside))
    return told


def _start_page(
    kept: Store, grower: str, told: Told, problems: tuple[Problem, ...] = (), *, change: int | None = None
) -> HTMLResponse:
    with kept.transaction(grower, read_only=True) as records:
        vineyards = [(each, len(records.blocks.all(each.key))) for each in records.vineyards.all()]
    return page(
        "start.html",
        status=422 if problems else 200,
        vineyards=vineyards,
        told=told,
        change=change,
        unit_choices=UNIT_CHOICES,
        faults=by_file(problems),
        doubted=doubted(problems),
        demo=demo_weather.VINEYARD,
        demo_as_of=demo_weather.AS_OF,
        date_choices={"temperatures": DATE_CHOICES, "bloom_log": SEASON_DATE_CHOICES, "visits": DATE_CHOICES},
    )
