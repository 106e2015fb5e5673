"""What somebody wrote into a note never runs in another's spreadsheet, and comes back as it was."""

from __future__ import annotations

import csv
import io

import pytest
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st

from service.ingest.formulas import as_text, from_text
from tests.api.asking import VINEYARD, put_vineyard, send_csv

# As in OWASP's page on CSV injection (https://owasp.org/www-community/attacks/CSV_Injection).
FORMULAS = ("=1+1", '=HYPERLINK("http://x","y")', "+1", "-2+3", "@SUM(1)", "'=1", "- dry", "plain", "it's")


@given(
    st.text(st.characters(categories=["L", "N", "P", "S", "Z"], include_characters="=+-@'\t\r"), max_size=8)
)
def test_every_text_comes_back(text: str) -> None:
    assert from_text(as_text(text)) == text
    assert not as_text(text).startswith(("=", "+", "-", "@", "\t", "\r"))


@pytest.mark.parametrize("note", FORMULAS)
def test_a_note_is_text_in_a_spreadsheet_and_the_same_after_an_upload(client: TestClient, note: str) -> None:
    put_vineyard(client)
    look = {"date": "2026-05-18", "block": "b1", "percent_open": 0, "note": note}
    assert client.post(f"{VINEYARD}/visits", json=[look]).status_code == 200
    text = client.get(f"{VINEYARD}/visits", headers={"Accept": "text/csv"}).text
    [row] = csv.DictReader(io.StringIO(text))
    assert row["note"][0] not in "=+-@"
    assert send_csv(client, f"{VINEYARD}/visits", text).json()["rows_unchanged"] == 1
    assert client.get(f"{VINEYARD}/visits").json()["visits"][0]["note"] == note
