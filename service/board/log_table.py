"""The bloom log as a table: seasons by blocks, and one season of one block to be written or taken back."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

from fastapi import Query, Request
from starlette.datastructures import UploadFile
from starlette.responses import HTMLResponse, RedirectResponse, Response

from models.errors import BadInput, Problem
from models.stages import BLOOM_STAGES, STAGES
from service import clock
from service.board.fields import doubted
from service.board.pages import Done, here, page, pages
from service.ingest.options import Confirm, ReadOptions
from service.store.records import Place, Vineyard
from service.store.repositories import Repositories
from service.usecases.observations import store_bloom_log
from service.web.access import Grower
from service.web.edge_words import for_page
from service.web.keys import VineyardKey
from service.web.records import changing, store
from service.words.language import ngettext
from service.words.plain import short_date

router = pages()

EVERY = "checked_every_days"
Season = Annotated[int, Query(ge=1800, le=2200)]
Of = Literal["block", "cultivar"]
Key = Annotated[str, Query(max_length=63)]


@dataclass(frozen=True)
class LogCell:
    """The dates of one season and place, by stage; ``checked_every_days`` is None without any."""

    dates: dict[str, dt.date]
    checked_every_days: int | None = None

    @property
    def text(self) -> str:
        """Start, full bloom and end as a cell has room for them."""
        told = [short_date(day) if (day := self.dates.get(stage)) else "–" for stage in BLOOM_STAGES]
        return (
            " · ".join(told)
            if any(stage in self.dates for stage in BLOOM_STAGES)
            else ngettext("{count} date", "{count} dates", len(self.dates))
        )


Log = dict[int, dict[Place, LogCell]]


def read_log(records: Repositories, vineyard: str) -> Log:
    """The log by season and place."""
    log: Log = defaultdict(dict)
    for row in records.bloom_log.rows(vineyard):
        place = Place("cultivar", row.cultivar) if row.block is None else Place("block", row.block)
        known = log[row.season].get(place, LogCell({}))
        log[row.season][place] = LogCell({**known.dates, **row.dates}, row.checked_every_days)
    return log


@router.get("/vineyards/{vineyard}/log")
def log_page(request: Request, vineyard: VineyardKey, grower: Grower, change: Done = None) -> HTMLResponse:
    """Seasons by blocks, the newest season first."""
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        log = read_log(records, vineyard)
        blocks = {Place("block", each.key) for each in records.blocks.all(vineyard)}
    logged = {place for season in log.values() for place in season}
    return page(
        "log.html",
        vineyard=known,
        asked={},
        change=change,
        log=log,
        seasons=sorted(log, reverse=True),
        places=sorted(blocks | logged, key=lambda place: (place.kind, place.key)),
        this_year=clock.today(known.timezone).year,
    )


@router.get("/vineyards/{vineyard}/log/entry")
def log_entry(
    request: Request, vineyard: VineyardKey, grower: Grower, season: Season, key: Key, of: Of = "block"
) -> HTMLResponse:
    """One season of one block, a field a date."""
    with store(request).transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        cell = read_log(records, vineyard)[season].get(Place(of, key), LogCell({}))
    told = {
        **{stage: str(day) for stage, day in cell.dates.items()},
        EVERY: str(cell.checked_every_days or ""),
    }
    return _entry(known, season, Place(of, key), told)


def _entry(
    vineyard: Vineyard, season: int, place: Place, told: Mapping[str, str], doubts: Sequence[Problem] = ()
) -> HTMLResponse:
    """The form with what is told; after a refusal that can be overridden, what was doubted."""
    return page(
        "log_entry.html",
        status=422 if doubts else 200,
        vineyard=vineyard,
        asked={},
        season=season,
        key=place.key,
        of=place.kind,
        told=told,
        doubts=[for_page(each.problem) for each in doubts],
        stages=STAGES,
    )


@router.post("/vineyards/{vineyard}/log/entry")
async def change_log_entry(
    request: Request, vineyard: VineyardKey, grower: Grower, season: Season, key: Key, of: Of = "block"
) -> Response:
    """Store the dates as they stand in the fields; a date whose field is empty is deleted."""
    async with request.form() as form:
        told = {
            name: value.strip() for name, value in form.multi_items() if not isinstance(value, UploadFile)
        }
        confirm: tuple[Confirm, ...] = ("dates",) if "dates" in form.getlist("confirm") else ()
    place = Place(of, key)
    try:
        _store_entry(request, vineyard, grower, season, place, told, confirm)
    except BadInput as error:
        if not doubted(error.problems):
            raise
        with store(request).transaction(grower, read_only=True) as records:
            return _entry(records.vineyards.get(vineyard), season, place, {EVERY: "", **told}, error.problems)
    return RedirectResponse(here(vineyard, "log", change=request.state.change), 303)


def _store_entry(
    request: Request,
    vineyard: str,
    grower: str,
    season: int,
    place: Place,
    told: Mapping[str, str],
    confirm: tuple[Confirm, ...],
) -> None:
    with changing(request, grower, preview=False) as records:
        today = clock.today(records.vineyards.get(vineyard).timezone)
        before = read_log(records, vineyard)[season].get(place, LogCell({}))
        given = {stage.key: told[stage.key] for stage in STAGES if told.get(stage.key)}
        every = told.get(EVERY, "")
        as_before = every == str(before.checked_every_days or "")
        new = {
            stage: day
            for stage, day in given.items()
            if not as_before or day != str(before.dates.get(stage, ""))
        }
        if new:
            options = ReadOptions(sent_on=today, confirm=confirm)
            store_bloom_log(
                records,
                vineyard,
                _as_file(season, place, given, every),
                options=options,
            )
        for stage in before.dates.keys() - given.keys():
            records.bloom_log.delete(vineyard, season, place, stage=stage)


def _as_file(season: int, place: Place, dates: dict[str, str], every: str) -> bytes:
    """One row of a bloom log, so that it is read and doubted as any other."""
    text = io.StringIO()
    rows = csv.writer(text)
    rows.writerow(["season", place.kind, *dates, *(["checked_every_days"] if every else [])])
    rows.writerow([season, place.key, *dates.values(), *([every] if every else [])])
    return text.getvalue().encode()
