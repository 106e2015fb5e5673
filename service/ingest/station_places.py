"""A list of stations to where each stands: one row a station."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from models.errors import BadInput
from service.ingest.cells import in_column, is_blank, number
from service.ingest.headers import Columns, find_columns, header_of
from service.ingest.names import slug
from service.ingest.report import BadRow, settle_bad_rows, settle_repeats
from service.ingest.table import Row, read_table

SYNONYMS: Mapping[str, tuple[str, ...]] = {
    "key": ("station",),
    "name": (),
    "latitude": ("lat",),
    "longitude": ("lon", "long"),
    "elevation_m": ("elevation", "altitude_m"),
}
LOWEST_M, HIGHEST_M = -500.0, 9000.0
LONGEST_NAME = 200


@dataclass(frozen=True)
class StationPlace:
    """A station's key, name and place. [degrees north, degrees east, m above sea level]"""

    key: str
    name: str
    latitude: float
    longitude: float
    elevation_m: float | None = None


def read_station_places(data: bytes) -> tuple[StationPlace, ...]:
    """Read a table with ``key``, ``latitude``, ``longitude``, and where known ``name`` and ``elevation_m``.

    Raises
    ------
    BadInput
        If the table or a row cannot be read, or a station is given with different places.
    """
    table = read_table(data, is_header=header_of(SYNONYMS))
    columns = find_columns(table, SYNONYMS, required=("key", "latitude", "longitude"))
    entries: list[tuple[int, str, StationPlace]] = []
    bad_rows = list(table.bad_rows)
    for row in table.rows:
        try:
            place = _place(columns, row, decimal_comma=table.decimal_comma)
        except BadInput as error:
            bad_rows.append(BadRow(row.line, error.message))
        else:
            entries.append((row.line, place.key, place))
    kept, conflicts, _ = settle_repeats(entries, what="the station {}")
    settle_bad_rows([*bad_rows, *conflicts], rows_read=table.rows_read, on_bad_rows="reject")
    return tuple(place for _, _, place in kept)


def _place(columns: Columns, row: Row, *, decimal_comma: bool) -> StationPlace:
    def within(name: str, low: float, high: float) -> float:
        with in_column(name):
            value = number(columns.cell(row, name), decimal_comma=decimal_comma)
            if not low <= value <= high:
                raise BadInput(f"{value:g} is outside {low:g} to {high:g}")
        return value

    with in_column("key"):
        key = slug(columns.cell(row, "key"))
    name = columns.cell(row, "name") or key
    if len(name) > LONGEST_NAME:
        raise BadInput(f"name: longer than {LONGEST_NAME} characters")
    unknown = is_blank(columns.cell(row, "elevation_m"))
    return StationPlace(
        key=key,
        name=name,
        latitude=within("latitude", -90, 90),
        longitude=within("longitude", -180, 180),
        elevation_m=None if unknown else within("elevation_m", LOWEST_M, HIGHEST_M),
    )
