"""Workbooks made for tests."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from typing import Any

import openpyxl


def workbook(sheets: Mapping[str, Sequence[Sequence[Any]]], *, hidden: Sequence[str] = ()) -> bytes:
    """An .xlsx of these sheets, cells as they are given."""
    book = openpyxl.Workbook()
    assert book.active is not None
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
        if name in hidden:
            sheet.sheet_state = "hidden"
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()
