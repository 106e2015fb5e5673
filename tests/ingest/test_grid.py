"""Planting grids: vines to blocks, each vine in its place."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.errors import BadInput
from models.records import Block, Cultivar, FlowerType
from models.vineyard.reach import vine_places
from service.ingest.grid import read_grid
from service.ingest.planting import ReadPlanting

CULTIVARS = {
    "amber-reach": Cultivar("amber-reach", "Amber Reach", FlowerType.PISTILLATE, viable_pollen=False),
    "tidewell": Cultivar("tidewell", "Tidewell", FlowerType.PERFECT, viable_pollen=True),
}


def read(*rows: str, header: str = "row,vine,cultivar", skip: bool = False) -> ReadPlanting:
    return read_grid(
        "\n".join((header, *rows)).encode(),
        row_spacing_m=4.0,
        vine_spacing_m=2.0,
        cultivars=CULTIVARS,
        on_bad_rows="skip" if skip else "reject",
    )


def refusal(*rows: str, header: str = "row,vine,cultivar") -> list[str]:
    with pytest.raises(BadInput) as caught:
        read(*rows, header=header)
    return [f"{each.where}: {each.problem}" for each in caught.value.problems]


def test_runs_of_one_cultivar_become_lines() -> None:
    got = read("1,1,Amber Reach", "1,2,amber reach", "1,3,Tidewell", "3,2,Tidewell", "1,4,Amber Reach")
    assert got.blocks == (
        Block("row-1-vine-1-2", "amber-reach", 0.0, 0.0, 2, x2_m=2.0, y2_m=0.0),
        Block("row-1-vine-3", "tidewell", 4.0, 0.0),
        Block("row-1-vine-4", "amber-reach", 6.0, 0.0),
        Block("row-3-vine-2", "tidewell", 2.0, 8.0),
    )
    assert got.cultivars == (CULTIVARS["amber-reach"], CULTIVARS["tidewell"])
    assert (got.rows_read, got.bad_rows, got.warnings) == (5, (), ())


def test_empty_places_part_a_run() -> None:
    got = read("1,1,Tidewell", "1,2,", "1,3,Tidewell", "1,5,Tidewell", "2,6,Tidewell")
    assert [block.key for block in got.blocks] == [
        "row-1-vine-1",
        "row-1-vine-3",
        "row-1-vine-5",
        "row-2-vine-6",
    ]
    assert [cultivar.key for cultivar in got.cultivars] == ["tidewell"]


@given(
    st.dictionaries(
        st.tuples(st.integers(1, 3), st.integers(1, 20)), st.sampled_from(sorted(CULTIVARS)), min_size=1
    )
)
def test_every_vine_stands_in_one_block_and_in_its_place(vines: dict[tuple[int, int], str]) -> None:
    got = read(*(f"{row},{vine},{cultivar}" for (row, vine), cultivar in vines.items()))
    told: dict[tuple[int, int], str] = {}
    for block in got.blocks:
        row, first, last = _row_and_ends(block.key)
        assert block.vines == last - first + 1
        places = {vine: [2.0 * (vine - 1), 4.0 * (row - 1)] for vine in range(first, last + 1)}
        np.testing.assert_allclose(vine_places(block), list(places.values()), rtol=0, atol=1e-9)
        told |= {(row, vine): block.cultivar for vine in places}
    assert told == vines
    assert sum(block.vines for block in got.blocks) == len(vines)


def _row_and_ends(key: str) -> tuple[int, int, int]:
    """Of "row-3-vine-7" or "row-3-vine-7-9"."""
    _, row, _, *ends = key.split("-")
    return int(row), int(ends[0]), int(ends[-1])


def test_headers_in_any_order_and_case() -> None:
    got = read("Tidewell;4;2", header="Variety;Vine_Number;Row No")
    assert [block.key for block in got.blocks] == ["row-2-vine-4"]


@pytest.mark.parametrize(
    ("rows", "problem"),
    [
        (
            ["1,1,Nobody"],
            "line 2: unknown cultivar 'Nobody'; the known cultivars are amber-reach, tidewell. Put it first, or give "
            "its flower type in a column flower_type",
        ),
        (["0,1,Tidewell"], "line 2: row: '0' is outside 1 to 100000"),
        (["1,A,Tidewell"], "line 2: vine: 'A' is not a number"),
        (["1,1.5,Tidewell"], "line 2: vine: '1.5' is not a whole number"),
        (["1,1"], "line 2: 2 cells where the header has 3"),
        (
            ["1,1,Tidewell", "1,1,Amber Reach"],
            "lines 2, 3: row 1, vine 1 is given with different values: lines 2, 3",
        ),
        (["1,1,", "1,2,-"], "cultivar: every place is blank"),
    ],
)
def test_what_is_refused(rows: list[str], problem: str) -> None:
    assert problem in refusal(*rows)


def test_missing_column_and_bad_rows_that_are_skipped() -> None:
    assert refusal("1,Tidewell", header="row,cultivar")[0].startswith("line 1: no column 'vine'")
    got = read("1,1,Tidewell", "1,2,Nobody", "1,1,Tidewell", skip=True)
    assert [block.key for block in got.blocks] == ["row-1-vine-1"]
    assert [(bad.line, bad.problem.split(";")[0]) for bad in got.bad_rows] == [
        (3, "unknown cultivar 'Nobody'")
    ]
    assert got.warnings == ("1 row repeated and kept once: line 4",)


@pytest.mark.parametrize("spacing", [0.0, -1.0, float("nan")])
def test_lengths_must_be_above_0(spacing: float) -> None:
    with pytest.raises(BadInput) as caught:
        read_grid(
            b"row,vine,cultivar\n1,1,Tidewell", row_spacing_m=4.0, vine_spacing_m=spacing, cultivars=CULTIVARS
        )
    assert [each.where for each in caught.value.problems] == ["vine_spacing_m"]
