"""A bloom log to records: one row a season and block, its stages' dates in columns; or one row a date."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from models.errors import BadInput, Problem
from models.heat.season import season_of
from models.records import BloomLogRow
from models.stages import STAGE_KEYS, STAGES
from service.ingest.cells import in_column, is_blank, shown, whole_number
from service.ingest.dates import FIRST_YEAR, LAST_YEAR, DateForm, SeasonYear, parse_date
from service.ingest.headers import Columns, columns_found, find_columns, fold_name, header_of
from service.ingest.options import AS_THEY_ARE, ReadOptions
from service.ingest.places import find_place, place_text
from service.ingest.plausible_days import check_seen, far_from_the_rest, too_far
from service.ingest.report import BadRow, lines_text, settle_bad_rows, settle_repeats
from service.ingest.rounds import how_often_assumed
from service.ingest.table import Content, Row, Table, read_table

SYNONYMS: Mapping[str, tuple[str, ...]] = {
    "season": ("year",),
    "block": ("block_id",),
    "cultivar": ("variety",),
    "checked_every_days": (),
    **{key: (key.replace("_", ""),) if "_" in key else () for key in STAGE_KEYS},
    "budbreak": ("bud_break", "budburst", "bud_burst"),
}
# Of the long form: one row a season, block and stage.
LONG_SYNONYMS: Mapping[str, tuple[str, ...]] = {
    **{name: SYNONYMS[name] for name in ("season", "block", "cultivar", "checked_every_days")},
    "stage": ("growth_stage", "phenological_stage", "event", "bbch"),
    "date": ("stage_date", "observed_on", "day"),
}
STAGE_NAMES: Mapping[str, str] = {
    **{name: key for key in STAGE_KEYS for name in (key, *SYNONYMS[key])},
    **{f"{stage.bbch}": stage.key for stage in STAGES},
    **{f"{stage.bbch:02}": stage.key for stage in STAGES},
}
IS_HEADER = header_of(SYNONYMS, LONG_SYNONYMS)
LONGEST_CHECK_DAYS = 366


@dataclass(frozen=True)
class ReadBloomLog:
    """Rows of a bloom log, rows that were skipped, and what else was noticed; ``rows_read`` counts all."""

    rows: tuple[BloomLogRow, ...]
    bad_rows: tuple[BadRow, ...]
    warnings: tuple[str, ...]
    rows_read: int


def read_bloom_log(
    data: Content,
    *,
    blocks: Mapping[str, str] | None,
    latitude: float,
    options: ReadOptions = AS_THEY_ARE,
) -> ReadBloomLog:
    """Read a bloom log.

    A row whose stages are out of order is kept with a warning: which date is the slip can't be seen here.

    Parameters
    ----------
    data : bytes, or a sheet of a workbook
        A table with ``season``, ``block`` or ``cultivar`` and any stage keys as date columns, blanks allowed;
        ``checked_every_days`` may stand beside them. Or the long form: ``stage`` and ``date`` instead of the stages'
        columns, a row each; then ``season`` may be left out.
    blocks : mapping of block key to cultivar key, or None
        The planting; None where none is known, so that the cultivar is needed in every row.
    latitude : float
        Of the site; tells which dates belong to a season. [degree]
    options : ReadOptions

    Raises
    ------
    BadInput
        If the table or its columns can't be read, or there are bad rows that are not to be skipped.
    """
    table = read_table(data, is_header=IS_HEADER)
    form = DateForm(options.date_format, iso_too=table.workbook)
    long = _is_long(table)
    columns = find_columns(
        table, LONG_SYNONYMS if long else SYNONYMS, required=("stage", "date") if long else ("season",)
    )
    where = f"line {table.header_line}"
    if "cultivar" not in columns and (blocks is None or "block" not in columns):
        needed = "cultivar" if blocks is None else "block or cultivar"
        raise BadInput("the columns cannot be read", [Problem(where, f"no column {needed}")])
    if not long and not any(key in columns for key in STAGE_KEYS):
        problem = f"no stage column; the stages are {', '.join(STAGE_KEYS)}; {columns_found(table)}"
        raise BadInput("the columns cannot be read", [Problem(where, problem)])
    entries: list[tuple[int, tuple[int, str, str], BloomLogRow]] = []
    bad_rows = list(table.bad_rows)
    warnings = list(columns.warnings)
    dateless: list[int] = []
    told_check = options.checked_every_days
    for row in table.rows:
        try:
            read = _read_row(row, columns, blocks, form, latitude, told_check or 1, long=long)
            if not read.dates:
                dateless.append(row.line)
                continue
            _check_season(read, latitude)
            if options.sent_on is not None and "dates" not in options.confirm:
                _check_days(read, options.sent_on)
        except BadInput as error:
            bad_rows.append(BadRow(row.line, error.message))
            continue
        stage = next(iter(read.dates)) if long else ""
        entries.append((row.line, (read.season, place_text(read.block, read.cultivar), stage), read))
    if "dates" not in options.confirm:
        alone = far_from_the_rest([read.season for _, _, read in entries])
        bad_rows += [BadRow(line, f"season {too_far(key[0])}") for line, key, _ in entries if key[0] in alone]
        entries = [entry for entry in entries if entry[1][0] not in alone]
    named = "season {0[0]} of {0[1]}, {0[2]}," if long else "season {0[0]} of {0[1]}"
    kept, conflicts, repeats = settle_repeats(entries, what=named)
    if dateless:
        warnings.append(f"rows without any date were ignored: {lines_text(dateless)}")
    warnings += repeats
    warnings += [text for line, dates in _by_season(kept) if (text := _out_of_order(line, dates))]
    bad = settle_bad_rows([*bad_rows, *conflicts], rows_read=table.rows_read, on_bad_rows=options.on_bad_rows)
    rows = tuple(read for _, _, read in kept)
    warnings += how_often_assumed(rows, told="checked_every_days" in columns or told_check is not None)
    return ReadBloomLog(rows, bad, tuple(warnings), table.rows_read)


def _is_long(table: Table) -> bool:
    names = {fold_name(header) for header in table.columns}
    wide = names & {name for key in STAGE_KEYS for name in (key, *SYNONYMS[key])}
    return not wide and all(names & {name, *LONG_SYNONYMS[name]} for name in ("stage", "date"))


def _by_season(
    entries: Iterable[tuple[int, tuple[int, str, str], BloomLogRow]],
) -> Iterator[tuple[int, dict[str, dt.date]]]:
    """First line and all dates of each season and place, in season order."""
    found: dict[tuple[int, str], tuple[int, dict[str, dt.date]]] = {}
    for line, (season, place, _), read in entries:
        found.setdefault((season, place), (line, {}))[1].update(read.dates)
    for line, dates in found.values():
        yield line, {key: dates[key] for key in STAGE_KEYS if key in dates}


def _read_row(
    row: Row,
    columns: Columns,
    blocks: Mapping[str, str] | None,
    form: DateForm,
    latitude: float,
    checked_every_days: int,
    *,
    long: bool,
) -> BloomLogRow:
    season: int | None = None
    if not long or not is_blank(columns.cell(row, "season")):
        with in_column("season"):
            season = whole_number(columns.cell(row, "season"), low=FIRST_YEAR, high=LAST_YEAR)
    block, cultivar = find_place(columns.cell(row, "block"), columns.cell(row, "cultivar"), blocks=blocks)
    year = None if season is None else SeasonYear(season, latitude)
    cells = {key: columns.cell(row, key) for key in STAGE_KEYS}
    if long:
        cells = {_stage(columns.cell(row, "stage")): columns.cell(row, "date")}
    dates: dict[str, dt.date] = {}
    for key, text in cells.items():
        if not is_blank(text):
            with in_column(key):
                dates[key] = parse_date(text, form, year=year)
    if season is None:
        season = season_of(next(iter(dates.values())), latitude) if dates else FIRST_YEAR
    if not is_blank(text := columns.cell(row, "checked_every_days")):
        with in_column("checked_every_days"):
            checked_every_days = whole_number(text, low=1, high=LONGEST_CHECK_DAYS)
    return BloomLogRow(season, cultivar, block, dates, checked_every_days)


def _stage(text: str) -> str:
    key = STAGE_NAMES.get(fold_name(text).removeprefix("bbch_"))
    if key is None:
        raise BadInput(
            f"stage: {shown(text)} is not one of {', '.join(STAGE_KEYS)}, nor the BBCH code of one"
        )
    return key


def _check_season(read: BloomLogRow, latitude: float) -> None:
    strangers = [
        f"{key} {date} is not in season {read.season}"
        for key, date in read.dates.items()
        if season_of(date, latitude) != read.season
    ]
    if strangers:
        south = " (south of the equator a season begins on 1 July of the year before)" if latitude < 0 else ""
        raise BadInput("; ".join(strangers) + south)


def _check_days(read: BloomLogRow, today: dt.date) -> None:
    for key, date in read.dates.items():
        with in_column(key):
            check_seen(date, today=today)


def _out_of_order(line: int, dates: dict[str, dt.date]) -> str | None:
    slips = [
        f"{later} {dates[later]} lies before {earlier} {dates[earlier]}"
        for earlier, later in zip(list(dates), list(dates)[1:], strict=False)
        if dates[later] < dates[earlier]
    ]
    return f"line {line}: {'; '.join(slips)}; kept as it is" if slips else None
