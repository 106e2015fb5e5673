"""Visits: what was seen of which block on which day."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.errors import BadInput
from models.records import Visit
from service.ingest.options import ReadOptions
from service.ingest.visits import ReadVisits, read_visits

BLOCKS = {"b1": "amber-reach", "b2": "tidewell"}
HEADER = "date,block,percent_open,bbch,observer,note"


def read(
    *rows: str, header: str = HEADER, blocks: Mapping[str, str] | None = BLOCKS, skip: bool = False
) -> ReadVisits:
    data = "\n".join((header, *rows)).encode()
    return read_visits(data, blocks=blocks, options=ReadOptions(on_bad_rows="skip" if skip else "reject"))


def refusal(*rows: str, header: str = HEADER, blocks: Mapping[str, str] | None = BLOCKS) -> list[str]:
    with pytest.raises(BadInput) as caught:
        read(*rows, header=header, blocks=blocks)
    return [f"{each.where}: {each.problem}" for each in caught.value.problems]


def test_visits() -> None:
    got = read(
        '2026-05-20,B1,35,,Ines,"bees, many"',
        "2026-05-20,b2,,61,,",
        "2026-05-21,b2,12.5%,61.0,,",
        "2026-05-22,b1,0,,,",
    )
    day = dt.date(2026, 5, 20)
    assert got.visits == (
        Visit(day, "amber-reach", "b1", 35.0, None, "Ines", "bees, many"),
        Visit(day, "tidewell", "b2", None, 61),
        Visit(dt.date(2026, 5, 21), "tidewell", "b2", 12.5, 61),
        Visit(dt.date(2026, 5, 22), "amber-reach", "b1", 0.0),
    )
    assert (got.rows_read, got.bad_rows, got.warnings) == (4, (), ())


def test_headers_of_the_trade() -> None:
    got = read("5,Amber Reach,2026-05-20", header="% caps off,Variety,Visit date")
    assert got.visits == (Visit(dt.date(2026, 5, 20), "amber-reach", None, 5.0),)
    assert read("2026-05-20,b1,7", header="date,block,caps off (%)").visits[0].percent_open == 7.0


def test_without_a_planting_the_cultivar_is_needed() -> None:
    got = read("2026-05-20,Any One,5", header="date,cultivar,percent_open", blocks=None)
    assert got.visits[0].cultivar == "any-one"
    assert refusal("2026-05-20,b1,5,,,", blocks=None)[0].startswith("line 1: no column cultivar")


@pytest.mark.parametrize(
    ("row", "problem"),
    [
        ("2026-05-20,b2,101,,,", "percent_open: '101' is outside 0 to 100"),
        ("2026-05-20,b2,-1,,,", "percent_open: '-1' is outside 0 to 100"),
        ("2026-05-20,b2,some,,,", "percent_open: 'some' is not a number"),
        ("2026-05-20,b2,,100,,", "bbch: '100' is outside 0 to 99"),
        ("2026-05-20,b2,,6.5,,", "bbch: '6.5' is not a whole number"),
        ("2026-05-20,b2,,,,", "neither percent_open nor bbch is given"),
        ("2026-05-20,b7,5,,,", "unknown block 'b7'; the known blocks are b1, b2"),
        ("2026-05-20,bb1,5,,,", "unknown block 'bb1'; did you mean b1?"),
        ("2026-05-20,,5,,,", "neither block nor cultivar is given"),
        ("31/05/2026,b2,5,,,", "date_format=%d/%m/%Y"),
        (",b2,5,,,", "the date is blank"),
    ],
)
def test_bad_rows_are_located_or_skipped(row: str, problem: str) -> None:
    rows = ("2026-05-20,b1,5,,,", row, "2026-05-21,b1,9,,,")
    (found,) = refusal(*rows)
    assert found.startswith("line 3: ")
    assert problem in found
    got = read(*rows, skip=True)
    assert len(got.visits) == 2
    assert [bad.line for bad in got.bad_rows] == [3]


def test_one_observer_sees_one_block_once_a_day() -> None:
    found = refusal("2026-05-20,b1,5,,,", "2026-05-20,b1,9,,,")
    assert (
        found[0]
        == "lines 2, 3: the visit of 2026-05-20 to block b1 is given with different values: lines 2, 3"
    )
    got = read("2026-05-20,b1,5,,Ines,", "2026-05-20,b1,9,,Omar,", "2026-05-20,b1,9,,Omar,")
    assert [visit.percent_open for visit in got.visits] == [5.0, 9.0]
    assert got.warnings == ("1 row repeated and kept once: line 4",)


def test_fractions_are_pointed_out() -> None:
    got = read("2026-05-20,b1,0.25,,,", "2026-05-21,b1,1,,,")
    assert got.visits[0].percent_open == 0.25
    assert got.warnings == ("no percent_open is above 1; they were read as per cent, not as fractions",)
    mixed = read("2026-05-20,b1,0.25,,,", "2026-05-21,b1,3,,,")
    assert mixed.warnings == ("percent_open of 0.25 was read as per cent, not as a fraction",)
    assert read("2026-05-20,b1,0,,,", "2026-05-21,b1,1,,,").warnings == ()


def test_columns_are_checked() -> None:
    found = refusal("x,y", header="date,remark")
    assert "no column block or cultivar" in found[0]
    assert "no column percent_open or bbch" in found[1]
    assert refusal("b1,4", header="block,percent_open")[0].startswith("line 1: no column 'date'")
    assert "did you mean observer" in refusal("2026-05-20,b1,4,x", header="date,block,bbch,obsever")[0]


@given(
    seen=st.dictionaries(
        st.tuples(st.dates(dt.date(1950, 1, 1), dt.date(2100, 1, 1)), st.sampled_from(sorted(BLOCKS))),
        st.floats(0, 100).map(lambda percent: round(percent, 1)),
        min_size=1,
        max_size=8,
    ),
    order=st.permutations(range(3)),
)
def test_visits_in_a_semicolon_file_come_back(
    seen: dict[tuple[dt.date, str], float], order: list[int]
) -> None:
    lines = [["DATE", "Block", "percent open"]]
    lines += [[str(date), block, str(percent).replace(".", ",")] for (date, block), percent in seen.items()]
    text = "\r\n".join(";".join(line[place] for place in order) for line in lines)
    got = read_visits(text.encode("utf-8-sig"), blocks=BLOCKS, options=ReadOptions(confirm=["dates"]))
    assert {(visit.date, visit.block): visit.percent_open for visit in got.visits} == seen
