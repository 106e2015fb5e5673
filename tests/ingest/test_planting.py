"""Plantings: blocks, cultivars and neighbours out of one table."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.errors import BadInput
from models.records import Block, Cultivar, FlowerType
from service.ingest.planting import ReadPlanting, read_planting

HEADER = "block,cultivar,flower_type,x_m,y_m"


def read(*rows: str, header: str = HEADER, skip: bool = False) -> ReadPlanting:
    return read_planting("\n".join((header, *rows)).encode(), on_bad_rows="skip" if skip else "reject")


def refusal(*rows: str, header: str = HEADER, skip: bool = False) -> list[str]:
    with pytest.raises(BadInput) as caught:
        read(*rows, header=header, skip=skip)
    return [f"{each.where}: {each.problem}" for each in caught.value.problems]


def test_blocks_and_cultivars() -> None:
    got = read(
        "Row 1,Amber Reach,female,0,3.5,12,Row 2; row_3,no,9.5,Vitis rotundifolia",
        "row 2,Tidewell,self-fertile,6,3.5,,,,,",
        "row 3,amber reach,Pistillate,12,3.5,4,,,,",
        header=HEADER + ",vines,neighbours,viable_pollen,berry_mass_g,species",
    )
    assert got.blocks == (
        Block("row-1", "amber-reach", 0.0, 3.5, 12, ("row-2", "row-3")),
        Block("row-2", "tidewell", 6.0, 3.5),
        Block("row-3", "amber-reach", 12.0, 3.5, 4),
    )
    assert got.cultivars == (
        Cultivar("amber-reach", "Amber Reach", FlowerType.PISTILLATE, False, "Vitis rotundifolia", 9.5),
        Cultivar("tidewell", "Tidewell", FlowerType.PERFECT, True),
    )
    assert (got.rows_read, got.bad_rows, got.warnings) == (3, (), ())


def test_feet_become_metres() -> None:
    got = read("b1,A,perfect,100,-50", header="block,cultivar,flower_type,x (ft),Y_ft")
    assert got.blocks[0].x_m == pytest.approx(30.48, rel=0, abs=1e-9)
    assert got.blocks[0].y_m == pytest.approx(-15.24, rel=0, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "flower_type"),
    [
        ("pistillate", FlowerType.PISTILLATE),
        ("Female", FlowerType.PISTILLATE),
        ("perfect", FlowerType.PERFECT),
        ("Self fertile", FlowerType.PERFECT),
        ("self_fertile", FlowerType.PERFECT),
        ("hermaphrodite", FlowerType.PERFECT),
        ("STAMINATE", FlowerType.STAMINATE),
        ("male", FlowerType.STAMINATE),
    ],
)
def test_flower_types_and_their_default_pollen(text: str, flower_type: FlowerType) -> None:
    (cultivar,) = read(f"b1,A,{text},0,0").cultivars
    assert cultivar.flower_type is flower_type
    assert cultivar.viable_pollen == (flower_type is not FlowerType.PISTILLATE)


def test_pollen_that_fails_is_a_field_of_its_own() -> None:
    header = HEADER + ",viable_pollen"
    got = read("b1,A,perfect,0,0,no", "b2,A,perfect,5,0,", header=header)
    assert [cultivar.viable_pollen for cultivar in got.cultivars] == [False]
    got = read("b1,A,pistillate,0,0,TRUE", header=header)
    assert got.cultivars[0].viable_pollen
    assert got.warnings == ("cultivar a is pistillate, yet its pollen is said to be viable",)


@pytest.mark.parametrize(
    ("row", "problem"),
    [
        (",A,perfect,0,0", "the block is blank"),
        ("b2,,perfect,0,0", "the cultivar is blank"),
        ("b2,A,,0,0", "flower_type: '' is not one of pistillate, perfect, staminate"),
        ("b2,A,imperfect,0,0", "flower_type: 'imperfect' is not one of"),
        ("b2,A,perfect,left,0", "x_m: 'left' is not a number"),
        ("b2,A,perfect,0,", "y_m: '' is not a number"),
        ("b2,A,perfect,0,0,0", "vines: '0' is outside 1 to"),
        ("b2,A,perfect,0,0,2.5", "vines: '2.5' is not a whole number"),
        ("b2,A,perfect,0,0,1,b9", "neighbour b9 is no block"),
        ("b2,A,perfect,0,0,1,bb1", "from the file; did you mean b1?"),
        ("b2,A,perfect,0,0,1,b1;b2", "block b2 is its own neighbour"),
        ("b2,A,perfect,0,0,1,,perhaps", "viable_pollen: 'perhaps' is neither yes nor no"),
        ("b2,A,perfect,0,0,1,,,0", "berry_mass_g: 0 is not above 0"),
        ("---,A,perfect,0,0", "no key can be made of it"),
    ],
)
def test_bad_rows_are_located_or_skipped(row: str, problem: str) -> None:
    header = HEADER + ",vines,neighbours,viable_pollen,berry_mass_g"
    rows = [each + "," * (8 - each.count(",")) for each in ("b1,A,perfect,0,0", row, "b3,A,perfect,1,0")]
    (found,) = refusal(*rows, header=header)
    assert found.startswith("line 3: ")
    assert problem in found
    got = read(*rows, header=header, skip=True)
    assert [block.key for block in got.blocks] == ["b1", "b3"]
    assert [bad.line for bad in got.bad_rows] == [3]


def test_a_cultivar_with_two_flower_types_is_bad_in_all_its_lines() -> None:
    rows = ("b1,A,perfect,0,0", "b2,B,perfect,1,0", "b3,a,female,2,0")
    problem = "cultivar a has more than one flower_type, perfect and pistillate: lines 2, 4"
    assert refusal(*rows) == [f"lines 2, 4: {problem}"]
    assert [block.key for block in read(*rows, skip=True).blocks] == ["b2"]


def test_other_traits_must_agree_too() -> None:
    found = refusal("b1,A,perfect,0,0,9", "b2,A,perfect,1,0,8", header=HEADER + ",berry_mass_g")
    assert "more than one berry_mass_g, 8.0 and 9.0: lines 2, 3" in found[0]


def test_a_block_that_stands_twice() -> None:
    assert refusal("b1,A,perfect,0,0", "B1,A,perfect,1,0") == [
        "lines 2, 3: block b1 is given with different values: lines 2, 3"
    ]
    got = read("b1,A,perfect,0,0", "b1,A,perfect,0,0")
    assert len(got.blocks) == 1
    assert got.warnings == ("1 row repeated and kept once: line 3",)


def test_a_neighbour_that_is_skipped_is_no_neighbour() -> None:
    rows = ("b1,A,perfect,0,0,b2", "b2,A,perfect,1,0,b3", "b3,A,perfect,left,0,", "b4,A,perfect,3,0,")
    got = read(*rows, header=HEADER + ",neighbours", skip=True)
    assert [block.key for block in got.blocks] == ["b4"]
    assert [bad.line for bad in got.bad_rows] == [2, 3, 4]


def test_columns_are_checked() -> None:
    assert any(
        "no column 'flower_type'" in each for each in refusal("b1,A,0,0", header="block,cultivar,x_m,y_m")
    )
    for header in ("block,cultivar,flower_type,x,y", "block,cultivar,flower_type,x_m,y_ft", HEADER + ",x_ft"):
        row = "b1,A,perfect,0,0" + ",0" * (header.count(",") - 4)
        assert any("x_m and y_m, or x_ft and y_ft" in each for each in refusal(row, header=header))
    found = refusal("b1,A,perfect,0,0,3", header=HEADER + ",vinse")
    assert found == ["line 1: column 'vinse' is not known; did you mean vines?"]
    found = refusal("b1,A,perfect,0,0,A", header=HEADER + ",Variety")
    assert found == ["line 1: columns 'cultivar' and 'Variety' both mean cultivar"]
    got = read("b1,A,perfect,0,0,clay", header=HEADER + ",Soil")
    assert got.warnings == ("column 'Soil' is not known and was ignored",)


def test_decimal_commas_only_in_semicolon_files() -> None:
    got = read("b1;A;perfect;1,5;2", header=HEADER.replace(",", ";"))
    assert got.blocks[0].x_m == 1.5
    assert refusal('b1,A,perfect,"1,234",2') == ["line 2: x_m: '1,234' is not a number"]


@given(
    rows=st.dictionaries(
        st.from_regex(r"[a-z][a-z0-9]{0,8}", fullmatch=True),
        st.tuples(
            st.sampled_from(("a", "b")), st.integers(-999, 999), st.integers(-999, 999), st.integers(1, 99)
        ),
        min_size=1,
        max_size=8,
    ),
    order=st.permutations(range(6)),
    delimiter=st.sampled_from(",;\t"),
)
def test_a_planting_in_any_order_comes_back(
    rows: dict[str, tuple[str, int, int, int]], order: list[int], delimiter: str
) -> None:
    lines = [["Block", "CULTIVAR", "flower type", "x_m", "y_m", "vines"]]
    lines += [
        [key, cultivar, "perfect", f"{x}", f"{y}", f"{vines}"]
        for key, (cultivar, x, y, vines) in rows.items()
    ]
    text = "\r\n".join(delimiter.join(line[place] for place in order) for line in lines)
    got = read_planting(text.encode("utf-8-sig"))
    assert {block.key: (block.cultivar, block.x_m, block.y_m, block.vines) for block in got.blocks} == rows
