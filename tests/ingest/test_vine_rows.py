"""Plantings by stretches of rows, and by the ends of lines."""

from __future__ import annotations

import pytest

from models.errors import BadInput
from models.records import Block, Cultivar, FlowerType
from models.units import FEET_PER_METRE
from service.ingest.any_planting import GridSpacing, read_any_planting
from service.ingest.planting import ReadPlanting

CULTIVARS = {
    "amber-reach": Cultivar("amber-reach", "Amber Reach", FlowerType.PISTILLATE, viable_pollen=False),
    "tidewell": Cultivar("tidewell", "Tidewell", FlowerType.PERFECT, viable_pollen=True),
}
HEADER = "row,first_vine,last_vine,cultivar"
SPACING = GridSpacing(4.0, 2.0)
LINES = "block,cultivar,flower_type,vines,x1_m,y1_m,x2_m,y2_m"


def read(
    *rows: str, header: str = HEADER, spacing: GridSpacing | None = SPACING, skip: bool = False
) -> ReadPlanting:
    return read_any_planting(
        "\n".join((header, *rows)).encode(),
        spacing=spacing,
        cultivars=CULTIVARS,
        on_bad_rows="skip" if skip else "reject",
    )


def refusal(*rows: str, header: str = HEADER, spacing: GridSpacing | None = SPACING) -> list[str]:
    with pytest.raises(BadInput) as caught:
        read(*rows, header=header, spacing=spacing)
    return [f"{each.where}: {each.problem}" for each in caught.value.problems]


def test_a_stretch_of_a_row_is_a_line_of_vines() -> None:
    got = read("1,1,40,Amber Reach", "1,41,41,Tidewell", "3,5,6,amber reach")
    assert got.blocks == (
        Block("row-1-vine-1-40", "amber-reach", 0.0, 0.0, 40, x2_m=78.0, y2_m=0.0),
        Block("row-1-vine-41", "tidewell", 80.0, 0.0),
        Block("row-3-vine-5-6", "amber-reach", 8.0, 8.0, 2, x2_m=10.0, y2_m=8.0),
    )
    assert got.cultivars == (CULTIVARS["amber-reach"], CULTIVARS["tidewell"])


def test_blocks_may_have_names_and_new_cultivars_a_flower_type() -> None:
    got = read(
        "Hill row;1;1;3;Pale Lantern;perfect",
        "Low row;2;1;3;Pale Lantern;",
        header="Block;Row No;From vine;To vine;Variety;Flower",
    )
    assert [(block.key, block.vines, block.cultivar) for block in got.blocks] == [
        ("hill-row", 3, "pale-lantern"),
        ("low-row", 3, "pale-lantern"),
    ]
    assert got.cultivars[0].flower_type is FlowerType.PERFECT


@pytest.mark.parametrize(
    ("rows", "problem"),
    [
        (["1,5,4,Tidewell"], "line 2: last_vine 4 lies before first_vine 5"),
        (["1,0,4,Tidewell"], "line 2: first_vine: '0' is outside 1 to 100000"),
        (["1,1,4,"], "line 2: the cultivar is blank"),
        (["1,1,20000,Tidewell"], "line 2: vines of a line: from end to end stand 2 to 10000, not 20000"),
        (
            ["1,1,9,Tidewell", "2,1,9,Tidewell", "1,9,12,Amber Reach"],
            "lines 2, 4: vine 9 of row 1 stands in lines 2 and 4",
        ),
        (
            ["1,1,9,Tidewell", "1,2,3,Tidewell", "1,8,12,Amber Reach"],
            "lines 2, 4: vine 8 of row 1 stands in lines 2 and 4",
        ),
        (["1,1,2,Nobody"], "line 2: unknown cultivar 'Nobody'"),
    ],
)
def test_rows_that_are_refused(rows: list[str], problem: str) -> None:
    assert any(each.startswith(problem) for each in refusal(*rows)), refusal(*rows)


def test_rows_need_their_spacings() -> None:
    (problem,) = refusal("1,1,2,Tidewell", spacing=None)
    assert problem.startswith("row_spacing_m: say how far rows and vines stand apart")
    assert refusal("1,1,2,Tidewell", spacing=GridSpacing(4.0, 0.0)) == ["vine_spacing_m: 0 is not above 0"]


def test_lines_by_their_ends_beside_blocks_in_one_place() -> None:
    got = read(
        "a,Tidewell,perfect,12,0,1.5,33,1.5", "b,Amber Reach,pistillate,9,40,0,,", header=LINES, spacing=None
    )
    assert got.blocks == (
        Block("a", "tidewell", 0.0, 1.5, 12, x2_m=33.0, y2_m=1.5),
        Block("b", "amber-reach", 40.0, 0.0, 9),
    )
    feet = read("a,Tidewell,perfect,3,0,0,20,0", header=LINES.replace("_m", "_ft"), spacing=None)
    assert feet.blocks[0].x2_m == pytest.approx(20.0 / FEET_PER_METRE, rel=1e-12)


@pytest.mark.parametrize(
    ("row", "problem"),
    [
        ("a,Tidewell,perfect,12,0,0,33,", "line 2: the end of a line lacks y2_m"),
        ("a,Tidewell,perfect,,0,0,33,0", "line 2: vines of a line: from end to end stand 2 to 10000, not 1"),
        ("a,Tidewell,perfect,12,5,5,5,5", "line 2: a line ends where it begins"),
        ("a,Tidewell,perfect,12,5,5,x,5", "line 2: x2_m: 'x' is not a number"),
    ],
)
def test_lines_that_are_refused(row: str, problem: str) -> None:
    assert refusal(row, header=LINES, spacing=None) == [problem]


def test_half_a_line_in_the_header_is_refused() -> None:
    (problem,) = refusal(
        "a,Tidewell,perfect,0,0,1", header="block,cultivar,flower_type,x_m,y_m,x2_m", spacing=None
    )
    assert "x1_m, y1_m, x2_m and y2_m" in problem
