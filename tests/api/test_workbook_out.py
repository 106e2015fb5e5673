"""A vineyard as a workbook: every row comes back to the last digit, and no text is ever a formula."""

from __future__ import annotations

import io
from typing import Any

import openpyxl
import pytest
from fastapi.testclient import TestClient
from httpx2 import Response
from hypothesis import given
from hypothesis import strategies as st

from service.ingest.workbook import read_sheets
from service.ingest.written_workbook import write_workbook
from service.web.uploads import XLSX
from tests.api.asking import STATION, VINEYARD, put_vineyard, send_csv

PAGE = "/vineyards/hollow"
NOTES = (
    "=1+1",
    '=HYPERLINK("http://x","y")',
    "+1",
    "-2",
    "@SUM(1)",
    "'=1",
    " led",
    "end\n",
    "a\rb",
    "_x0041_",
)
DAYS = "date,tmin_f,tmax_f\n2026-05-01,60.1,80.3\n2026-05-02,,\n2026-05-04,61.7,82.9\n"
LOG = "season,block,bloom_start,full_bloom,checked_every_days\n2025,b1,2025-05-12,2025-05-18,3\n"


@pytest.fixture
def filled(client: TestClient) -> TestClient:
    """A vineyard with all that an upload takes, odd ones among it."""
    put_vineyard(client)
    assert send_csv(client, f"{STATION}/temperatures", DAYS).status_code == 200
    assert send_csv(client, f"{VINEYARD}/bloom-log", LOG).status_code == 200
    looks = [
        {"date": f"2026-05-{day:02d}", "block": "b1", "percent_open": 100 / 3, "note": note}
        for day, note in enumerate(NOTES, 1)
    ]
    looks.append({"date": "2026-05-20", "block": "b1", "bbch": 61, "observer": "=Ida"})
    assert client.post(f"{VINEYARD}/visits", json=looks).is_success
    return client


def book_of(client: TestClient) -> bytes:
    answer = client.get(f"{VINEYARD}/workbook")
    assert answer.headers["content-type"] == XLSX
    assert answer.headers["content-disposition"] == 'attachment; filename="hollow.xlsx"'
    return bytes(answer.content)


def sent(client: TestClient, book: bytes, step: str) -> Response:
    files = {"workbook": ("hollow.xlsx", book, XLSX)}
    answer = client.post(f"{PAGE}/data", data={"step": step}, files=files, follow_redirects=False)
    assert isinstance(answer, Response)
    return answer


def stored(client: TestClient) -> list[Any]:
    """All that uploads take, without what names a row anew."""
    answers = [
        client.get(path).json()
        for path in (
            f"{STATION}/temperatures",
            f"{VINEYARD}/bloom-log",
            f"{VINEYARD}/blocks",
            "/v1/cultivars",
            f"{VINEYARD}/visits",
        )
    ]
    for look in answers[-1]["visits"]:
        del look["visit"]
    return answers


def test_a_workbook_sent_back_changes_nothing(filled: TestClient) -> None:
    over = sent(filled, book_of(filled), "preview")
    assert over.status_code == 200
    assert "<b>Nothing changes</b>" in over.text
    assert over.text.count("0 new, 0 changed") == 4


def test_what_was_lost_since_comes_back_to_the_last_digit(filled: TestClient) -> None:
    before, book = stored(filled), book_of(filled)
    exact = filled.get("/v1/export").text.count("15.611111111111")
    assert exact > 0  # 60.1 °F, in more digits than spreadsheets show
    filled.delete(f"{STATION}/temperatures?from=2026-05-01&to=2026-05-04")
    filled.delete(f"{VINEYARD}/bloom-log/2025/b1")
    for look in filled.get(f"{VINEYARD}/visits").json()["visits"]:
        filled.delete(f"{VINEYARD}/visits/{look['visit']}")
    assert filled.patch(f"{VINEYARD}/blocks/b1", json={"x_m": 99.0}).is_success
    assert stored(filled) != before
    assert sent(filled, book, "apply").status_code == 303
    assert stored(filled) == before
    assert book_of(filled)[:4] == book[:4] == b"PK\x03\x04"
    assert read_sheets(book_of(filled)) == read_sheets(book)


def test_dates_logged_at_different_steps_come_back(filled: TestClient) -> None:
    other = "season,block,bloom_end,checked_every_days\n2025,b1,2025-05-28,7\n"
    assert send_csv(filled, f"{VINEYARD}/bloom-log", other).status_code == 200
    assert "<b>Nothing changes</b>" in sent(filled, book_of(filled), "preview").text


def test_no_text_is_a_formula(filled: TestClient) -> None:
    sheet = openpyxl.load_workbook(io.BytesIO(book_of(filled)))["visits"]
    cells = [cell for row in sheet.iter_rows() for cell in row]
    assert {cell.value for cell in cells} >= {"=1+1", "=Ida", "@SUM(1)"}
    assert not [cell for cell in cells if cell.data_type == "f"]
    assert all(cell.quotePrefix for cell in cells if str(cell.value).startswith("="))


def test_a_table_given_twice_and_a_workbook_of_none_are_refused(filled: TestClient) -> None:
    before = stored(filled)
    files = {
        "workbook": ("a.xlsx", book_of(filled), XLSX),
        "visits": ("visits.csv", b"date,block\n", "text/csv"),
    }
    answer = filled.post(f"{PAGE}/data", data={"step": "apply"}, files=files)
    assert answer.status_code == 422
    assert "send one of them" in answer.text
    for book, said in (
        (b"date,block\n", "save it as .xlsx"),
        (write_workbook({"x": [("a",), (1,)]}), "is called"),
    ):
        answer = sent(filled, book, "apply")
        assert answer.status_code == 422
        assert said in answer.text
    assert stored(filled) == before


def test_a_vineyard_of_nothing_gives_headers_to_fill_in(client: TestClient) -> None:
    client.put(VINEYARD, json={"name": "Hollow"})
    sheets = {sheet.name: sheet.rows for sheet in read_sheets(client.get(f"{VINEYARD}/workbook").content)}
    assert sheets.keys() == {"planting", "bloom_log", "visits", "temperatures"}
    assert {len(rows) for rows in sheets.values()} == {1}


@given(
    st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), min_size=1, max_size=8),
    st.floats(-1e6, 1e6),
)
def test_every_text_and_number_comes_back(text: str, number: float) -> None:
    [sheet] = read_sheets(write_workbook({"a": [("x", "y"), (text, number)]}))
    [told, value] = sheet.rows[1][1]
    assert told == text
    assert float(value) == pytest.approx(number, rel=1e-14, abs=1e-300)


def test_the_same_records_give_the_same_bytes(monkeypatch: pytest.MonkeyPatch) -> None:
    once = write_workbook({"days": [("date", "note"), ("2026-05-01", "=1")]})
    monkeypatch.setattr("time.localtime", lambda *_: (2040, 1, 1, 0, 0, 0, 0, 1, 0))
    assert write_workbook({"days": [("date", "note"), ("2026-05-01", "=1")]}) == once
