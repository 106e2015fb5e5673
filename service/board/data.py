"""Add data: files of any kind, looked over before they are stored, and the ways to all that can be kept up by hand."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from fastapi import File, Form, Request, UploadFile
from starlette.responses import HTMLResponse, RedirectResponse, Response

from models.errors import BadInput, CapfallError, Problem
from service import clock
from service.board.fields import (
    DATE_CHOICES,
    FILE_WORDS,
    SEASON_DATE_CHOICES,
    TEMPLATE_FILES,
    UNIT_CHOICES,
    by_file,
    content_of,
    doubted,
)
from service.board.file_fields import FileFields, SentFields, faults_of, how_to_read
from service.board.pages import Done, here, page, pages
from service.ingest.dates import parse_date
from service.ingest.options import FileName
from service.ingest.table import Content
from service.ingest.workbook import Sheet
from service.store.repositories import Repositories
from service.usecases.add_files import ORDER, AddedFile, add_files
from service.usecases.fit_in_use import vineyard_fit
from service.usecases.fits import get_fit
from service.usecases.workbooks import sheets_by_name
from service.web.access import Grower
from service.web.edge_words import for_page
from service.web.keys import VineyardKey
from service.web.records import changing, store
from service.words.cautions import caution_texts
from service.words.language import N_, _
from service.words.plain import listed

router = pages()

HINTS: dict[FileName, str] = {
    "temperatures": N_("A daily minimum and maximum. Days that are stored already take the new values."),
    "outlook": N_("A weather forecast of the days to come, daily minimum and maximum."),
    "bloom_log": N_("The dates on which each block bloomed. Dates that the file leaves out stay."),
    "visits": N_("Single looks: how many per cent of caps were off."),
    "planting": N_(
        "The whole planting, one line a block. A block that the file lacks leaves; its past is kept."
    ),
}
SHOWN: tuple[FileName, ...] = ("temperatures", "outlook", "bloom_log", "visits", "planting")


@dataclass(frozen=True, kw_only=True)
class ToldOfFiles(FileFields):
    """What stands in the fields beside the files, as it was typed."""

    issued_on: str = ""


@router.get("/vineyards/{vineyard}/data")
def data_page(request: Request, vineyard: VineyardKey, grower: Grower, change: Done = None) -> HTMLResponse:
    """The form for files, and what is known so far."""
    with store(request).transaction(grower, read_only=True) as records:
        today = clock.today(records.vineyards.get(vineyard).timezone)
        return _page(records, vineyard, ToldOfFiles(issued_on=today.isoformat()), change=change)


@router.post("/vineyards/{vineyard}/data")
def take_files(
    request: Request,
    vineyard: VineyardKey,
    grower: Grower,
    fields: SentFields,
    step: Annotated[Literal["preview", "apply"], Form()] = "preview",
    issued_on: Annotated[str, Form(max_length=40)] = "",
    temperatures: Annotated[UploadFile | None, File()] = None,
    outlook: Annotated[UploadFile | None, File()] = None,
    planting: Annotated[UploadFile | None, File()] = None,
    bloom_log: Annotated[UploadFile | None, File()] = None,
    visits: Annotated[UploadFile | None, File()] = None,
    workbook: Annotated[UploadFile | None, File()] = None,
) -> Response:
    """Say what the files would change, or store them; with faults in any of them nothing is stored."""
    told = ToldOfFiles(**vars(fields), issued_on=issued_on)
    sent = {
        "temperatures": temperatures,
        "outlook": outlook,
        "planting": planting,
        "bloom_log": bloom_log,
        "visits": visits,
    }
    files: dict[FileName, Content] = {
        name: data for name in ORDER if (data := content_of(sent[name])) is not None
    }
    kept = store(request)
    try:
        files |= _sheets(content_of(workbook), files)
        with changing(request, grower, preview=step == "preview") as records:
            today = clock.today(records.vineyards.get(vineyard).timezone)
            issued_on_day = _issued_on(told, files)
            how = how_to_read(told, today)
            added = add_files(
                records,
                vineyard,
                files,
                unit=how.unit,
                spacing=how.spacing,
                issued_on=issued_on_day,
                options=how.options,
            )
    except BadInput as error:
        with kept.transaction(grower, read_only=True) as records:
            found = error.problems or (Problem("form", error.message),)
            return _page(records, vineyard, told, status=422, problems=found)
    if step == "apply":
        return RedirectResponse(here(vineyard, "data", change=request.state.change), 303)
    with kept.transaction(grower, read_only=True) as records:
        return _page(records, vineyard, told, added=added)


def _sheets(workbook: bytes | None, files: Mapping[FileName, Content]) -> dict[FileName, Sheet]:
    """The tables of a workbook. Raises BadInput."""
    if workbook is None:
        return {}
    sheets = sheets_by_name(workbook)
    twice = [_(FILE_WORDS[name]) for name in sheets if name in files]
    if twice:
        problem = _(
            "in the workbook and in a file of its own: {tables}; send one of them", tables=listed(twice)
        )
        raise BadInput(_("a table is given twice"), [Problem("workbook", problem)])
    return sheets


def _issued_on(told: ToldOfFiles, files: Mapping[FileName, Content]) -> dt.date | None:
    """The day of an outlook. Raises BadInput, also for what is wrong in other fields."""
    problems = ([] if files else [Problem("form", _("choose at least one file"))]) + faults_of(told)
    issued_on = None
    try:
        if "outlook" in files and told.issued_on.strip():
            issued_on = parse_date(told.issued_on.strip())
    except BadInput as error:
        problems.append(Problem("issued_on", error.message))
    if problems:
        raise BadInput(_("the form is not complete"), problems)
    return issued_on


def _page(
    records: Repositories,
    vineyard: str,
    told: ToldOfFiles,
    *,
    status: int = 200,
    change: int | None = None,
    problems: Sequence[Problem] = (),
    added: Sequence[AddedFile] | None = None,
) -> HTMLResponse:
    known = records.vineyards.get(vineyard)
    today = clock.today(known.timezone)
    return page(
        "data.html",
        status=status,
        vineyard=known,
        asked={},
        told=told,
        change=change,
        faults=by_file(problems),
        doubted=doubted(problems),
        added=added,
        changes_nothing=added is not None
        and all(each.counts.stored == each.counts.replaced == 0 and not each.removed for each in added),
        files=[(name, FILE_WORDS[name], HINTS[name], f"{name}.csv" in TEMPLATE_FILES) for name in SHOWN],
        file_words=FILE_WORDS,
        warning_words=for_page,
        doubt_texts=caution_texts,
        unit_choices=UNIT_CHOICES,
        date_choices={"temperatures": DATE_CHOICES, "bloom_log": SEASON_DATE_CHOICES, "visits": DATE_CHOICES},
        known=_what_is_known(records, vineyard, today),
        today=today,
    )


def _what_is_known(records: Repositories, vineyard: str, today: dt.date) -> dict[str, Any]:
    """How much there is of each kind, and how fresh it is."""
    station = records.vineyards.get(vineyard).station
    days = None if station is None else records.temperatures.observed(station)
    outlook = None if station is None else records.temperatures.outlook(station, today)
    visits = records.visits.all(vineyard)
    seasons = sorted({row.season for row in records.bloom_log.rows(vineyard)})
    try:
        in_use, behind = vineyard_fit(records, vineyard, as_of=today)
    except CapfallError:
        in_use, behind = records.fits_in_use.get(vineyard), None
    fits = [get_fit(records, summary.id) for summary in records.fits.all()]
    return {
        "temperatures_through": None if days is None else days.dates[-1].item(),
        "temperatures_from": None if days is None else days.dates[0].item(),
        "outlook_issued_on": None if outlook is None else outlook[0],
        "visits": len(visits),
        "last_visit": max((visit.date for visit in visits), default=None),
        "seasons": seasons,
        "blocks": len(records.blocks.all(vineyard)),
        "in_use": in_use,
        "behind": behind,
        "fits": fits,
    }
