"""A planting to blocks and cultivars: one row a block, its cultivar's traits beside it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from models.errors import BadInput, Problem
from models.records import Block, Cultivar, FlowerType
from models.units import FEET_PER_METRE
from service.ingest.cells import in_column, is_blank, number, shown, whole_number, yes_or_no
from service.ingest.headers import Columns, columns_found, find_columns, header_of
from service.ingest.names import slug
from service.ingest.options import OnBadRows
from service.ingest.report import BadRow, lines_text, settle_bad_rows, settle_repeats
from service.ingest.table import Content, Row, Table, read_table
from service.likeness import nearest

SYNONYMS: Mapping[str, tuple[str, ...]] = {
    "block": ("block_id",),
    "cultivar": ("variety",),
    "flower_type": ("flower", "flower_sex", "sex"),
    "x_m": ("x1_m",),
    "y_m": ("y1_m",),
    "x2_m": (),
    "y2_m": (),
    "x_ft": ("x_feet", "x1_ft", "x1_feet"),
    "y_ft": ("y_feet", "y1_ft", "y1_feet"),
    "x2_ft": ("x2_feet",),
    "y2_ft": ("y2_feet",),
    "vines": ("vine_count", "number_of_vines"),
    "neighbours": ("neighbors",),
    "viable_pollen": ("pollen_viable",),
    "berry_mass_g": ("berry_weight_g",),
    "species": (),
    "receptive_days": (),
    "pollen_days": (),
    "blooms_like": (),
    "days_later": (),
}
TRAIT_COLUMNS = (
    "flower_type",
    "viable_pollen",
    "berry_mass_g",
    "species",
    "receptive_days",
    "pollen_days",
    "blooms_like",
    "days_later",
)
# Terms of the trade for the three flower types.
FLOWER_TYPES: Mapping[str, FlowerType] = {
    "pistillate": FlowerType.PISTILLATE,
    "female": FlowerType.PISTILLATE,
    "perfect": FlowerType.PERFECT,
    "self-fertile": FlowerType.PERFECT,
    "hermaphrodite": FlowerType.PERFECT,
    "hermaphroditic": FlowerType.PERFECT,
    "staminate": FlowerType.STAMINATE,
    "male": FlowerType.STAMINATE,
}
MOST_VINES = 10_000_000
MOST_FLOWER_DAYS = 30
MOST_DAYS_LATER = 120


@dataclass(frozen=True)
class ReadPlanting:
    """Blocks and the cultivars they hold, rows that were skipped, and what else was noticed."""

    blocks: tuple[Block, ...]
    cultivars: tuple[Cultivar, ...]
    bad_rows: tuple[BadRow, ...]
    warnings: tuple[str, ...]
    rows_read: int


class Traits(NamedTuple):
    """What one row says of its cultivar; None where it says nothing."""

    flower_type: FlowerType
    viable_pollen: bool | None
    species: str | None
    berry_mass_g: float | None
    receptive_days: int | None
    pollen_days: int | None
    blooms_like: str | None
    days_later: float | None


class CultivarLine(NamedTuple):
    """One row's line, its cultivar's key and name, and what it says of it."""

    line: int
    key: str
    name: str
    traits: Traits


class _PlantingRow(NamedTuple):
    line: int
    block: Block
    name: str
    traits: Traits


def default_viable_pollen(flower_type: FlowerType) -> bool:
    """Whether pollen is taken for viable where nobody says: not that of pistillate flowers."""
    return flower_type is not FlowerType.PISTILLATE


def read_planting(data: Content, *, on_bad_rows: OnBadRows = "reject") -> ReadPlanting:
    """Read a planting.

    Parameters
    ----------
    data : bytes, or a sheet of a workbook
        A table with ``block``, ``cultivar``, ``flower_type``, ``x_m`` and ``y_m`` (or ``x_ft`` and ``y_ft``); for
        blocks that are lines of vines ``x1_m`` and ``y1_m`` of the first one, ``x2_m`` and ``y2_m`` of the last;
        beside them ``vines``, ``neighbours`` (split by ``;``), ``viable_pollen``, ``berry_mass_g``, ``species``,
        ``receptive_days``, ``pollen_days``, ``blooms_like`` and ``days_later``. Keys are made of the names.
    on_bad_rows : "reject" or "skip"

    Raises
    ------
    BadInput
        If the table or its columns can't be read, or there are bad rows that are not to be skipped. Bad rows
        are also a block that stands twice with different values, a cultivar with two flower types (or other
        traits), and a neighbour that is no block of the file.
    """
    table = read_table(data, is_header=header_of(SYNONYMS))
    columns = find_columns(table, SYNONYMS, required=("block", "cultivar", "flower_type"))
    unit = _length_unit(table, columns)
    entries: list[tuple[int, str, tuple[Block, str, Traits]]] = []
    bad_rows = list(table.bad_rows)
    for row in table.rows:
        try:
            block = _read_block(row, columns, unit, decimal_comma=table.decimal_comma)
            traits = read_traits(row, columns, decimal_comma=table.decimal_comma)
        except BadInput as error:
            bad_rows.append(BadRow(row.line, error.message))
            continue
        entries.append((row.line, block.key, (block, columns.cell(row, "cultivar"), traits)))
    read, conflicts, repeats = settle_repeats(entries, what="block {}")
    rows = [_PlantingRow(line, *values) for line, _, values in read]
    cultivars, at_odds = merge_cultivars(
        [CultivarLine(row.line, row.block.cultivar, row.name, row.traits) for row in rows]
    )
    rows, lonely = _with_known_neighbours([row for row in rows if row.block.cultivar in cultivars])
    bad = settle_bad_rows(
        [*bad_rows, *conflicts, *at_odds, *lonely], rows_read=table.rows_read, on_bad_rows=on_bad_rows
    )
    held = {row.block.cultivar: cultivars[row.block.cultivar] for row in rows}
    warnings = [*columns.warnings, *repeats]
    warnings += [
        f"cultivar {cultivar.key} is pistillate, yet its pollen is said to be viable"
        for cultivar in held.values()
        if cultivar.flower_type is FlowerType.PISTILLATE and cultivar.viable_pollen
    ]
    blocks = tuple(row.block for row in rows)
    return ReadPlanting(blocks, tuple(held.values()), bad, tuple(warnings), table.rows_read)


def _length_unit(table: Table, columns: Columns) -> str:
    """ "m" or "ft", whichever both coordinates are in."""
    names = ("x", "y", "x2", "y2")
    found = [f"{name}_{unit}" for unit in ("m", "ft") for name in names if f"{name}_{unit}" in columns]
    for unit in ("m", "ft"):
        if found in ([f"{name}_{unit}" for name in names[:2]], [f"{name}_{unit}" for name in names]):
            return unit
    problem = (
        "x_m and y_m, or x_ft and y_ft, are needed once each; for lines of vines x1_m, y1_m, x2_m and y2_m, or these "
        f"in ft; {columns_found(table)}"
    )
    raise BadInput("the columns cannot be read", [Problem(f"line {table.header_line}", problem)])


def _read_block(row: Row, columns: Columns, unit: str, *, decimal_comma: bool) -> Block:
    key = _key(row, columns, "block")
    cultivar = _key(row, columns, "cultivar")
    per_metre = 1.0 if unit == "m" else FEET_PER_METRE

    def metres(name: str) -> float:
        return _number(row, columns, f"{name}_{unit}", decimal_comma=decimal_comma) / per_metre

    x2, y2 = (
        None if is_blank(columns.cell(row, f"{name}_{unit}")) else metres(name) for name in ("x2", "y2")
    )
    vines = 1
    if not is_blank(text := columns.cell(row, "vines")):
        with in_column("vines"):
            vines = whole_number(text, low=1, high=MOST_VINES)
    names = [name.strip() for name in columns.cell(row, "neighbours").split(";")]
    neighbours = tuple(slug(name) for name in names if not is_blank(name)) or None
    if neighbours and key in neighbours:
        raise BadInput(f"block {key} is its own neighbour")
    return Block(key, cultivar, metres("x"), metres("y"), vines, neighbours, x2, y2)


def read_traits(row: Row, columns: Columns, *, decimal_comma: bool) -> Traits:
    """What a row says of its cultivar. Raises BadInput."""
    flower_text = columns.cell(row, "flower_type")
    flower_type = FLOWER_TYPES.get("-".join(re.split(r"[\s_-]+", flower_text.casefold())))
    if flower_type is None:
        raise BadInput(f"flower_type: {shown(flower_text)} is not one of {', '.join(FlowerType)}")
    viable_pollen = None
    if not is_blank(text := columns.cell(row, "viable_pollen")):
        with in_column("viable_pollen"):
            viable_pollen = yes_or_no(text)
    berry_mass_g = None
    if not is_blank(columns.cell(row, "berry_mass_g")):
        berry_mass_g = _number(row, columns, "berry_mass_g", decimal_comma=decimal_comma)
        if berry_mass_g <= 0:
            raise BadInput(f"berry_mass_g: {berry_mass_g:g} is not above 0")
    species = columns.cell(row, "species")
    receptive_days, pollen_days = (
        _flower_days(row, columns, name) for name in ("receptive_days", "pollen_days")
    )
    return Traits(
        flower_type=flower_type,
        viable_pollen=viable_pollen,
        species=None if is_blank(species) else species,
        berry_mass_g=berry_mass_g,
        receptive_days=receptive_days,
        pollen_days=pollen_days,
        **_offset(row, columns, decimal_comma=decimal_comma),
    )


def _offset(row: Row, columns: Columns, *, decimal_comma: bool) -> dict[str, Any]:
    """Which cultivar it blooms like, and how much later. [day]"""
    like, days = columns.cell(row, "blooms_like"), columns.cell(row, "days_later")
    if is_blank(like):
        if not is_blank(days):
            raise BadInput("days_later: later than which cultivar? Name it as blooms_like")
        return {"blooms_like": None, "days_later": None}
    if slug(like) == _key(row, columns, "cultivar"):
        raise BadInput("blooms_like: a cultivar can't be told by itself")
    if is_blank(days):
        return {"blooms_like": slug(like), "days_later": None}
    with in_column("days_later"):
        days_later = number(days, decimal_comma=decimal_comma)
    if abs(days_later) > MOST_DAYS_LATER:
        raise BadInput(f"days_later: {days_later:g} is outside -{MOST_DAYS_LATER} to {MOST_DAYS_LATER}")
    return {"blooms_like": slug(like), "days_later": days_later}


def _flower_days(row: Row, columns: Columns, name: str) -> int | None:
    if is_blank(text := columns.cell(row, name)):
        return None
    with in_column(name):
        return whole_number(text, low=1, high=MOST_FLOWER_DAYS)


def _key(row: Row, columns: Columns, name: str) -> str:
    text = columns.cell(row, name)
    if not text:
        raise BadInput(f"the {name} is blank")
    return slug(text)


def _number(row: Row, columns: Columns, name: str, *, decimal_comma: bool) -> float:
    with in_column(name):
        return number(columns.cell(row, name), decimal_comma=decimal_comma)


def merge_cultivars(rows: list[CultivarLine]) -> tuple[dict[str, Cultivar], list[BadRow]]:
    """One cultivar out of all its rows; where rows contradict each other, all of them are bad."""
    groups: dict[str, list[CultivarLine]] = {}
    for row in rows:
        groups.setdefault(row.key, []).append(row)
    cultivars: dict[str, Cultivar] = {}
    bad_rows: list[BadRow] = []
    for key, group in groups.items():
        lines = [row.line for row in group]
        said: dict[str, set[Any]] = {
            trait: {value for row in group if (value := getattr(row.traits, trait)) is not None}
            for trait in Traits._fields
        }
        for trait, values in said.items():
            if len(values) > 1:
                listed = " and ".join(sorted(map(str, values)))
                problem = f"cultivar {key} has more than one {trait}, {listed}: {lines_text(lines)}"
                bad_rows += [BadRow(line, problem) for line in lines]
                break
        else:
            agreed: dict[str, Any] = {trait: next(iter(values), None) for trait, values in said.items()}
            traits = group[0].traits._replace(**agreed)
            pollen = traits.viable_pollen
            cultivars[key] = Cultivar(
                key,
                group[0].name,
                traits.flower_type,
                default_viable_pollen(traits.flower_type) if pollen is None else pollen,
                traits.species,
                traits.berry_mass_g,
                traits.receptive_days,
                traits.pollen_days,
                traits.blooms_like,
                traits.days_later,
            )
    return cultivars, bad_rows


def _with_known_neighbours(rows: list[_PlantingRow]) -> tuple[list[_PlantingRow], list[BadRow]]:
    """Take out the rows that name a neighbour which is no block of the file, or was taken out itself."""
    bad_rows: list[BadRow] = []
    while True:
        keys = {row.block.key for row in rows}
        kept: list[_PlantingRow] = []
        for row in rows:
            strangers = [name for name in row.block.neighbours or () if name not in keys]
            if strangers:
                near = nearest(strangers[0], keys - {row.block.key}) if len(strangers) == 1 else None
                problem = f"neighbour {', '.join(strangers)} is no block that could be read from the file"
                problem += "" if near is None else f"; did you mean {near}?"
                bad_rows.append(BadRow(row.line, problem))
            else:
                kept.append(row)
        if len(kept) == len(rows):
            return kept, bad_rows
        rows = kept
