"""Bloom logs: seasons, blocks and stage dates; what is bad and what is only odd."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.errors import BadInput
from models.records import BloomLogRow
from models.stages import STAGE_KEYS
from service.ingest.bloom_log import ReadBloomLog, read_bloom_log
from service.ingest.options import ReadOptions

BLOCKS = {"b1": "amber-reach", "b2": "tidewell", "b3": "amber-reach"}
HEADER = "season,block,bloom_start,full_bloom"


def read(
    *rows: str,
    header: str = HEADER,
    blocks: Mapping[str, str] | None = BLOCKS,
    latitude: float = 31.0,
    skip: bool = False,
    date_format: str | None = None,
    checked_every_days: int | None = 1,
) -> ReadBloomLog:
    return read_bloom_log(
        "\n".join((header, *rows)).encode(),
        blocks=blocks,
        latitude=latitude,
        options=ReadOptions(
            date_format=date_format,
            on_bad_rows="skip" if skip else "reject",
            checked_every_days=checked_every_days,
        ),
    )


def refusal(*rows: str, header: str = HEADER, blocks: Mapping[str, str] | None = BLOCKS) -> list[str]:
    with pytest.raises(BadInput) as caught:
        read(*rows, header=header, blocks=blocks)
    return [f"{each.where}: {each.problem}" for each in caught.value.problems]


def test_rows_by_block() -> None:
    got = read("2018,B1,2018-05-20,2018-05-26", "2018.0,b2,,2018-05-28")
    assert got.rows == (
        BloomLogRow(
            2018,
            "amber-reach",
            "b1",
            {"bloom_start": dt.date(2018, 5, 20), "full_bloom": dt.date(2018, 5, 26)},
        ),
        BloomLogRow(2018, "tidewell", "b2", {"full_bloom": dt.date(2018, 5, 28)}),
    )
    assert (got.rows_read, got.bad_rows, got.warnings) == (2, (), ())


def test_rows_by_cultivar_in_any_order_of_columns() -> None:
    got = read(
        "7,20/05/2018,Amber Reach,2018",
        header="checked every days,Bloom Start,Variety,SEASON",
        date_format="%d/%m/%Y",
    )
    assert got.rows == (BloomLogRow(2018, "amber-reach", None, {"bloom_start": dt.date(2018, 5, 20)}, 7),)


def test_block_and_cultivar_side_by_side() -> None:
    header = "season,block,cultivar,full_bloom"
    got = read("2018,b1,Amber Reach,2018-05-20", "2018,,Tidewell,2018-05-21", header=header)
    assert [(row.block, row.cultivar) for row in got.rows] == [("b1", "amber-reach"), (None, "tidewell")]
    (found,) = refusal("2018,b1,Tidewell,2018-05-20", header=header)
    assert found == "line 2: block 'b1' holds 'amber-reach', not 'Tidewell'"


def test_without_a_planting_the_cultivar_is_needed() -> None:
    got = read("2018,New One,2018-05-20", header="season,cultivar,full_bloom", blocks=None)
    assert got.rows[0].cultivar == "new-one"
    got = read("2018,b9,New One,2018-05-20", header="season,block,cultivar,full_bloom", blocks=None)
    assert (got.rows[0].block, got.rows[0].cultivar) == ("b9", "new-one")
    assert refusal("2018,b1,2018-05-20,", blocks=None) == ["line 1: no column cultivar"]


def test_every_stage_is_a_column() -> None:
    dates = [f"2018-{4 + place:02}-15" for place in range(len(STAGE_KEYS))]
    got = read("2018,b1," + ",".join(dates), header="season,block," + ",".join(STAGE_KEYS))
    assert list(got.rows[0].dates) == list(STAGE_KEYS)
    assert [date.isoformat() for date in got.rows[0].dates.values()] == dates
    assert got.warnings == ()


@pytest.mark.parametrize(
    ("row", "problem"),
    [
        ("2018,b9,2018-05-20,,", "unknown block 'b9'; the known blocks are b1, b2, b3"),
        ("2018,,2018-05-20,,", "neither block nor cultivar is given"),
        ("2018,b2,2018-02-30,,", "bloom_start: 30 February 2018 does not exist"),
        ("2018,b2,20/21/2018,,", "bloom_start: '20/21/2018' is not a date"),
        ("2018,b2,,2017-06-01,", "full_bloom 2017-06-01 is not in season 2018"),
        ("18,b2,2018-05-20,,", "season: '18' is outside 1850 to 2200"),
        ("x,b2,2018-05-20,,", "season: 'x' is not a number"),
        ("2018,b2,2018-05-20,,0", "checked_every_days: '0' is outside 1 to 366"),
        ("2018,b2,2018-05-20,", "4 cells where the header has 5"),
    ],
)
def test_bad_rows_are_located_or_skipped(row: str, problem: str) -> None:
    header = HEADER + ",checked_every_days"
    rows = ("2018,b1,2018-05-20,,", row, "2018,b3,2018-05-20,,")
    (found,) = refusal(*rows, header=header)
    assert found.startswith("line 3: ")
    assert problem in found
    got = read(*rows, header=header, skip=True)
    assert [each.block for each in got.rows] == ["b1", "b3"]
    assert [bad.line for bad in got.bad_rows] == [3]


def test_an_unknown_cultivar_is_named_with_the_known_ones() -> None:
    (found,) = refusal("2018,Ember,2018-05-20", header="season,cultivar,full_bloom")
    assert found == "line 2: unknown cultivar 'Ember'; the known cultivars are amber-reach, tidewell"
    (found,) = refusal("2018,b1,2018-05-20,", blocks={})
    assert "send the planting first" in found


def test_seasons_south_of_the_equator_begin_in_july() -> None:
    got = read("2018,b1,2017-10-20,2017-11-02", latitude=-33.0)
    assert got.rows[0].season == 2018
    with pytest.raises(BadInput) as caught:
        read("2017,b1,2017-10-20,", latitude=-33.0)
    assert "bloom_start 2017-10-20 is not in season 2017 (south" in caught.value.problems[0].problem


def test_two_rows_of_one_season_and_block() -> None:
    problem = "season 2018 of block b1 is given with different values: lines 2, 4"
    rows = ("2018,b1,2018-05-20,", "2018,b2,2018-05-20,", "2018,b1,2018-05-21,")
    assert refusal(*rows) == [f"lines 2, 4: {problem}"]
    got = read("2018,b1,2018-05-20,", "2018,b1,2018-05-20,", "2019,b1,2019-05-20,")
    assert len(got.rows) == 2
    assert got.warnings == ("1 row repeated and kept once: line 3",)


def test_stages_out_of_order_are_kept_with_a_warning() -> None:
    got = read("1991,b1,1991-06-16,1991-06-14", "1991,b2,1991-06-14,1991-06-14")
    assert len(got.rows) == 2
    assert got.warnings == (
        "line 2: full_bloom 1991-06-14 lies before bloom_start 1991-06-16; kept as it is",
    )


def test_a_row_without_dates_is_ignored_with_a_warning() -> None:
    got = read("2018,b1,,", "2018,b2,NA,-", "2019,b1,2019-05-20,")
    assert [row.season for row in got.rows] == [2019]
    assert got.warnings == ("rows without any date were ignored: lines 2, 3",)


def test_columns_are_checked() -> None:
    assert "no stage column" in refusal("2018,b1,x", header="season,block,remarks")[0]
    assert refusal("b1,2018-05-20", header="block,full_bloom")[0].startswith("line 1: no column 'season'")
    assert refusal("2018,2018-05-20", header="season,full_bloom") == ["line 1: no column block or cultivar"]
    found = refusal("2018,b1,2018-05-20", header="season,block,ful_blom")
    assert found == ["line 1: column 'ful_blom' is not known; did you mean full_bloom?"]
    got = read("2018,b1,2018-05-20,,windy", header=HEADER + ",weather")
    assert got.warnings == ("column 'weather' is not known and was ignored",)


@given(
    log=st.dictionaries(
        st.tuples(st.integers(1950, 2050), st.sampled_from(sorted(BLOCKS))),
        st.dictionaries(st.sampled_from(STAGE_KEYS), st.integers(0, 364), min_size=1),
        min_size=1,
        max_size=6,
    ),
    data=st.data(),
)
def test_a_log_in_any_shape_comes_back(
    log: dict[tuple[int, str], dict[str, int]], data: st.DataObject
) -> None:
    names = data.draw(st.permutations(["season", "block", *STAGE_KEYS]))
    delimiter = data.draw(st.sampled_from(",;\t"))
    encoding = data.draw(st.sampled_from(("utf-8", "utf-8-sig", "utf-16")))
    held = {
        place: {key: dt.date(place[0], 1, 1) + dt.timedelta(days=day) for key, day in days.items()}
        for place, days in log.items()
    }
    lines = [delimiter.join(name.title() for name in names)]
    for (season, block), dates in held.items():
        cells = {"season": str(season), "block": block} | {key: str(date) for key, date in dates.items()}
        lines.append(delimiter.join(f'"{cells.get(name, "")}"' for name in names))
    got = read_bloom_log(
        "\r\n".join(lines).encode(encoding),
        blocks=BLOCKS,
        latitude=31.0,
        options=ReadOptions(confirm=["dates"]),
    )
    assert {(row.season, row.block): row.dates for row in got.rows} == held
