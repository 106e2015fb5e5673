"""Bytes to rows: encodings, line ends, delimiters, quotes, sizes. Every refusal names its line."""

from __future__ import annotations

import time

import pytest

from models.errors import BadInput
from service.ingest.table import MOST_LINES, read_table
from service.ingest.workbook import MOST_COLUMNS


def refusal(data: bytes) -> BadInput:
    with pytest.raises(BadInput) as caught:
        read_table(data)
    return caught.value


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_encodings_line_ends_and_delimiters(encoding: str, line_end: str, delimiter: str) -> None:
    lines = [delimiter.join(cells) for cells in (("a", "b °C"), ("1", "ü"), ("", ""), ("2", "4"))]
    table = read_table(line_end.join(lines).encode(encoding))
    assert table.columns == ("a", "b °C")
    assert [(row.line, row.cells) for row in table.rows] == [(2, ("1", "ü")), (4, ("2", "4"))]
    assert table.decimal_comma == (delimiter == ";")


def test_utf16_big_endian_with_its_mark() -> None:
    assert read_table("a,b\n1,2".encode("utf-16-be").join([b"\xfe\xff", b""])).columns == ("a", "b")


def test_blank_lines_keep_the_count() -> None:
    table = read_table(b"\n\na,b\n\n1,2\n,\n3,4\n")
    assert table.header_line == 3
    assert [row.line for row in table.rows] == [5, 7]
    assert table.rows_read == 2


def test_quoted_cells_may_hold_delimiters_quotes_and_line_ends() -> None:
    table = read_table(b'"a,x","b"\n"1 ""one""","first\nsecond"\n3, "4, 5"\n')
    assert table.columns == ("a,x", "b")
    assert [(row.line, row.cells) for row in table.rows] == [
        (2, ('1 "one"', "first\nsecond")),
        (4, ("3", "4, 5")),
    ]


def test_a_quoted_comma_does_not_decide_the_delimiter() -> None:
    assert read_table(b'"one, two, three";b\n1;2\n').columns == ("one, two, three", "b")


@pytest.mark.parametrize(("row", "cells"), [(b"1", 1), (b"1,2,3", 3)])
def test_rows_of_another_length_are_bad(row: bytes, cells: int) -> None:
    table = read_table(b"a,b\n1,2\n" + row + b"\n3,4\n")
    (bad,) = table.bad_rows
    assert bad.line == 3
    assert bad.problem.startswith(f"{cells} cell")
    assert "header has 2" in bad.problem
    assert table.rows_read == 3


def test_delimiters_at_the_end_of_a_line_are_no_cells() -> None:
    table = read_table(b"a,b,,\n1,2\n3,4,,\n")
    assert [row.line for row in table.rows] == [3]
    assert read_table(b"a,b\n3,4,,\n").rows[0].cells == ("3", "4")


@pytest.mark.parametrize("data", [b"", b"\n \n", b"\xef\xbb\xbf", b"\xff\xfe"])
def test_an_empty_file_is_refused(data: bytes) -> None:
    assert refusal(data).message == "the file is empty"


def test_header_only_is_refused() -> None:
    error = refusal(b"date,tmin_c,tmax_c\n\n")
    assert error.message == "the file has a header but no rows"
    assert error.problems[0].where == "line 1"


def test_a_column_twice_is_refused_in_any_case() -> None:
    error = refusal(b"date,TMIN,tmin\n1,2,3\n")
    assert error.message == "a column stands twice"
    assert "'tmin'" in error.problems[0].problem


@pytest.mark.parametrize(
    ("data", "line"),
    [
        (b"a,b\n1,2\n1,\xe9\n", "line 3"),
        (b"a,b\r\n1,2\r\n\r\n1,\xe9\r\n", "line 4"),
        (b"a,b\r1,2\r1,\xe9\r", "line 3"),
        (b"a,b\n1,\x00\n", "line 2"),
        (b"\xff\xfe" + "a,b\n1,2\n".encode("utf-16-le") + b"\x00\xd8", "line 3"),  # half a character
        ("a,b\n".encode("utf-16-le"), "line 1"),  # without mark
        ("a,b\n".encode("utf-32"), "line 1"),
    ],
)
def test_bytes_that_are_no_text_are_refused(data: bytes, line: str) -> None:
    error = refusal(data)
    assert error.message == "the file is not readable text"
    assert error.problems[0].where == line
    assert "CSV UTF-8" in error.problems[0].problem


@pytest.mark.parametrize(
    ("data", "line"),
    [
        (b'a,b\n1,2\n3,"4\n5,6\n', "line 3"),
        (b'a,b\n1,"2"x\n', "line 2"),
        (b'a,b\n1,"' + b"many words\n" * 20_000 + b'"\n', "line 2"),  # over the csv module's own limit
    ],
)
def test_broken_quotes_are_refused_where_they_begin(data: bytes, line: str) -> None:
    error = refusal(data)
    assert error.message == "the file's quotes cannot be read"
    assert error.problems[0].where == line


@pytest.mark.parametrize("start", [b"", b"date,tmin_c,tmax_c\n"])
def test_thirty_megabytes_in_one_line_are_refused_at_once(start: bytes) -> None:
    data = start + b"1,2,3," * 5_000_000
    began = time.perf_counter()
    error = refusal(data)
    assert time.perf_counter() - began < 5  # a hang, not a speed, is what this finds
    assert error.message == "a line is too long"
    assert error.problems[0].where == f"line {2 if start else 1}"


def test_too_many_lines_and_columns_are_refused() -> None:
    assert refusal(b"a\n" * (MOST_LINES + 1)).message == "the file has too many lines"
    assert refusal(b"a" + b"," * MOST_COLUMNS + b"\n1\n").message == "the file has too many columns"
