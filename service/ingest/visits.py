"""Visits to records: one look at one block, as caps off or as a BBCH code."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from models.bloom.looks import FIRST_DORMANT_BBCH
from models.errors import BadInput, Problem
from models.heat.season import season_of
from models.records import Visit
from service.ingest.cells import in_column, is_blank, shown, whole_number
from service.ingest.dates import FIRST_YEAR, LAST_YEAR, DateForm, SeasonYear, parse_date
from service.ingest.headers import Columns, columns_found, find_columns, header_of
from service.ingest.options import AS_THEY_ARE, ReadOptions
from service.ingest.percent import read_percent
from service.ingest.places import find_place, place_text
from service.ingest.plausible_days import check_seen, far_from_the_rest, too_far
from service.ingest.report import BadRow, first_of, settle_bad_rows, settle_repeats
from service.ingest.table import Content, Row, read_table

SYNONYMS: Mapping[str, tuple[str, ...]] = {
    "date": ("visit_date", "day"),
    "block": ("block_id",),
    "cultivar": ("variety",),
    "percent_open": ("open_percent", "caps_off", "percent_caps_off", "caps_off_percent", "percent_bloom"),
    "bbch": ("bbch_code", "bbch_stage"),
    "observer": (),
    "season": ("year",),
    "note": ("notes", "comment", "comments", "remark", "remarks"),
}


@dataclass(frozen=True)
class ReadVisits:
    """Visits, rows that were skipped, and what else was noticed; ``rows_read`` counts all rows."""

    visits: tuple[Visit, ...]
    bad_rows: tuple[BadRow, ...]
    warnings: tuple[str, ...]
    rows_read: int


def read_visits(
    data: Content,
    *,
    blocks: Mapping[str, str] | None,
    latitude: float | None = None,
    options: ReadOptions = AS_THEY_ARE,
) -> ReadVisits:
    """Read visits.

    Parameters
    ----------
    data : bytes, or a sheet of a workbook
        A table with ``date``, ``block`` or ``cultivar``, ``percent_open`` [%] or ``bbch``; ``observer`` and
        ``note`` may stand beside them, and ``season`` for dates without a year. Two observers may see one block on
        one day in two ways.
    blocks : mapping of block key to cultivar key, or None
        The planting; None where none is known, so that the cultivar is needed in every row.
    latitude : float or None
        Of the site; tells the year of a date that has none. [degree]
    options : ReadOptions

    Raises
    ------
    BadInput
        If the table or its columns can't be read, or there are bad rows that are not to be skipped.
    """
    table = read_table(data, is_header=header_of(SYNONYMS))
    form = DateForm(options.date_format, iso_too=table.workbook)
    columns = find_columns(table, SYNONYMS, required=("date",))
    needed = []
    if "cultivar" not in columns and (blocks is None or "block" not in columns):
        needed.append("cultivar" if blocks is None else "block or cultivar")
    if "percent_open" not in columns and "bbch" not in columns:
        needed.append("percent_open or bbch")
    if needed:
        where = f"line {table.header_line}"
        problems = [Problem(where, f"no column {name}; {columns_found(table)}") for name in needed]
        raise BadInput("the columns cannot be read", problems)
    entries: list[tuple[int, tuple[dt.date, str, str], Visit]] = []
    bad_rows = list(table.bad_rows)
    taken: list[str] = []
    for row in table.rows:
        try:
            date = _date(row, columns, form, latitude)
            visit, approximate = _read_row(row, columns, blocks, date, decimal_comma=table.decimal_comma)
            check_visit(visit, options)
        except BadInput as error:
            bad_rows.append(BadRow(row.line, error.message))
            continue
        if approximate:
            text = shown(columns.cell(row, "percent_open"))
            taken.append(f"line {row.line}: {text} was taken for {visit.percent_open:g} %")
        place = place_text(visit.block, visit.cultivar)
        entries.append((row.line, (visit.date, place, visit.observer or ""), visit))
    if "dates" not in options.confirm:
        alone = far_from_the_rest([visit.date.year for _, _, visit in entries])
        bad_rows += [BadRow(line, too_far(key[0])) for line, key, _ in entries if key[0].year in alone]
        entries = [entry for entry in entries if entry[2].date.year not in alone]
    kept, conflicts, repeats = settle_repeats(entries, what="the visit of {0[0]} to {0[1]}")
    bad = settle_bad_rows([*bad_rows, *conflicts], rows_read=table.rows_read, on_bad_rows=options.on_bad_rows)
    visits = tuple(visit for _, _, visit in kept)
    warnings = (*columns.warnings, *repeats, *fractions(visits), *first_of(taken))
    return ReadVisits(visits, bad, warnings, table.rows_read)


def _read_row(
    row: Row,
    columns: Columns,
    blocks: Mapping[str, str] | None,
    date: dt.date,
    *,
    decimal_comma: bool,
) -> tuple[Visit, bool]:
    """A visit, and whether its percentage was written otherwise than as a number."""
    block, cultivar = find_place(columns.cell(row, "block"), columns.cell(row, "cultivar"), blocks=blocks)
    percent_text, bbch_text = columns.cell(row, "percent_open"), columns.cell(row, "bbch")
    if is_blank(percent_text) and is_blank(bbch_text):
        raise BadInput("neither percent_open nor bbch is given")
    percent, approximate = None, False
    if not is_blank(percent_text):
        with in_column("percent_open"):
            percent, approximate = read_percent(percent_text, decimal_comma=decimal_comma)
    bbch = None
    if not is_blank(bbch_text):
        with in_column("bbch"):
            bbch = whole_number(bbch_text, low=0, high=99)
    observer = columns.cell(row, "observer") or None
    visit = Visit(date, cultivar, block, percent, bbch, observer, columns.cell(row, "note") or None)
    return visit, approximate


def _date(row: Row, columns: Columns, form: DateForm, latitude: float | None) -> dt.date:
    text, season_text = columns.cell(row, "date"), columns.cell(row, "season")
    if is_blank(season_text) or latitude is None:
        return parse_date(text, form)
    with in_column("season"):
        season = whole_number(season_text, low=FIRST_YEAR, high=LAST_YEAR)
    date = parse_date(text, form, year=SeasonYear(season, latitude))
    if season_of(date, latitude) != season:
        raise BadInput(f"{date} is not in season {season}")
    return date


def check_visit(visit: Visit, options: ReadOptions) -> None:
    """Refuse a visit that cannot have been made or that contradicts itself. Raises BadInput."""
    if options.sent_on is not None and "dates" not in options.confirm:
        check_seen(visit.date, today=options.sent_on)
    if visit.percent_open is not None and visit.bbch is not None:
        low, high = _percents_of(visit.bbch)
        if not low <= visit.percent_open <= high:
            problem = f"bbch {visit.bbch} is {low:g} to {high:g} % of caps off, but percent_open says"
            raise BadInput(f"{problem} {visit.percent_open:g}; leave the wrong one out")


def _percents_of(bbch: int) -> tuple[float, float]:
    """Which shares of caps off a BBCH code allows, generously: 61 to 68 count tenths. [%]

    Lorenz et al. (1995), Aust. J. Grape Wine Res. 1:100-103; the margin of 20 is ours.
    """
    if bbch >= FIRST_DORMANT_BBCH:
        return 0.0, 100.0
    if bbch < 60:
        return 0.0, 10.0
    if bbch < 69:
        tenths = 10.0 * (bbch - 60)
        return max(tenths - 20, 0.0), min(tenths + 20, 100.0)
    return 80.0, 100.0


def fractions(visits: Sequence[Visit]) -> list[str]:
    """A warning where numbers look like shares of one."""
    seen = [visit.percent_open for visit in visits if visit.percent_open is not None]
    between = sorted({percent for percent in seen if 0 < percent < 1})
    if not between:
        return []
    if max(seen) <= 1:
        return ["no percent_open is above 1; they were read as per cent, not as fractions"]
    listed = ", ".join(f"{percent:g}" for percent in between[:5])
    return [f"percent_open of {listed} was read as per cent, not as a fraction"]
