"""Workbooks: cells as text, sheets, formulas without results, and files made to be too large."""

from __future__ import annotations

import datetime as dt
import io
import zipfile
from typing import Any

import openpyxl
import pytest

from models.errors import BadInput
from service.ingest import workbook as reading
from service.ingest.table import read_table
from tests.ingest.workbooks import workbook


def refusal(data: bytes) -> BadInput:
    with pytest.raises(BadInput) as caught:
        read_table(data, is_header=lambda cells: "date" in cells)
    return caught.value


def test_cells_come_as_text() -> None:
    rows: list[list[Any]] = [
        ["date", "a", "b", "c"],
        [dt.datetime(2026, 5, 1), 12.5, True, None],  # noqa: DTZ001
        [],
        [dt.datetime(2026, 5, 2, 13, 0, 0), 7, "x ", dt.time(6, 30)],  # noqa: DTZ001
    ]
    table = read_table(workbook({"days": rows}))
    assert table.columns == ("date", "a", "b", "c")
    assert [(row.line, row.cells) for row in table.rows] == [
        (2, ("2026-05-01", "12.5", "yes", "")),
        (4, ("2026-05-02T13:00:00", "7", "x", "06:30:00")),
    ]
    assert table.workbook


def test_a_percentage_comes_as_it_is_shown() -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["date", "open"])
    sheet.append(["2026-05-01", 0.35])
    sheet["B2"].number_format = "0%"
    content = io.BytesIO()
    book.save(content)
    assert read_table(content.getvalue()).rows[0].cells == ("2026-05-01", "35%")


def test_the_sheet_with_the_header_is_meant_and_hidden_ones_are_not() -> None:
    days: list[list[Any]] = [["Our vineyard"], [], ["date", "a"], ["2026-05-01", 1]]
    sheets: dict[str, list[list[Any]]] = {"read me": [["hello"]], "days": days, "old": days}
    table = read_table(workbook(sheets, hidden=["old"]), is_header=lambda cells: "date" in cells)
    assert (table.header_line, table.rows[0].line) == (3, 4)
    assert "'days', 'old'" in refusal(workbook(sheets)).problems[0].problem


def test_a_formula_without_its_result_is_refused() -> None:
    error = refusal(workbook({"days": [["date", "a"], ["2026-05-01", "=1+1"]]}))
    assert error.problems[0].where == "sheet 'days', line 2"
    assert "formula" in error.problems[0].problem


@pytest.mark.parametrize("data", [b"PK\x03\x04rest", b"PK\x03\x04" + b"\x00" * 400])
def test_what_is_no_workbook_is_refused(data: bytes) -> None:
    error = refusal(data)
    assert error.message == "the workbook cannot be read"
    assert "CSV UTF-8" in error.problems[0].problem


def test_an_archive_that_is_no_workbook_is_refused() -> None:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as archive:
        archive.writestr("days.csv", "date,a\n2026-05-01,1\n")
    assert refusal(content.getvalue()).message == "the workbook cannot be read"


def test_what_unpacks_to_too_much_is_refused_before_it_is_unpacked() -> None:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for part in range(3):
            archive.writestr(f"xl/worksheets/sheet{part}.xml", b" " * 40_000_000)
    assert len(content.getvalue()) < 200_000
    assert "unpacks to 120,000,000 bytes" in refusal(content.getvalue()).problems[0].problem


def test_entities_that_grow_are_refused() -> None:
    laughs = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 12))
    bomb = f'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY l0 "ha">{laughs}]><x>&l11;</x>'
    content = io.BytesIO(workbook({"days": [["date", "a"], ["2026-05-01", 1]]}))
    grown = io.BytesIO()
    with zipfile.ZipFile(content) as old, zipfile.ZipFile(grown, "w") as new:
        for part in old.infolist():
            new.writestr(part, bomb if part.filename == "xl/worksheets/sheet1.xml" else old.read(part))
    assert refusal(grown.getvalue()).message == "the workbook cannot be read"


def test_too_many_columns_are_refused_where_they_stand() -> None:
    error = refusal(workbook({"days": [["date", "a"], ["2026-05-01", *range(reading.MOST_COLUMNS)]]}))
    assert error.problems[0].where == "sheet 'days', line 2"
