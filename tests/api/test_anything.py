"""Whatever is sent, no answer is a fault of the service.

``CAPFALL_TRIES=5000 pytest tests/api/test_anything.py`` goes on for long; the usual run is a sample.
"""

from __future__ import annotations

import copy
import datetime as dt
import io
import json
import os
import zipfile
from collections.abc import Iterator
from functools import cache
from typing import Any

import pytest
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.usecases.fit_documents import SavedFit, to_document
from tests.api.asking import CSV, STATION, VINEYARD, put_vineyard
from tests.conftest import client_of
from tests.ingest.workbooks import workbook
from tests.usecases.test_fit_documents import a_fit

TRIES = settings(
    max_examples=int(os.environ.get("CAPFALL_TRIES", "60")),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
ODD_NUMBERS = st.sampled_from(
    [0, -1, 5e-324, 1e-300, 1e12, 1e300, -1e300, 2**63, -(2**63) - 1, 1e-9, 199.0, True, 10.0000000001, 19.9]
)
ODD_TEXTS = st.sampled_from(
    ["", "\0", "'", "=1", "é", "\ud83c", "a" * 300, "../..", "null", "\u202e", "2026-02-30", "9" * 400]
)
ODD: st.SearchStrategy[Any] = st.one_of(
    ODD_NUMBERS, ODD_TEXTS, st.none(), st.lists(st.integers(), max_size=2), st.just({})
)
BLOCKS = (
    b"block,cultivar,flower_type,x_m,y_m,neighbours\n"
    b"b1,Thimble Ash,pistillate,0,0,b2\n"
    b"b2,Loam Whistle,perfect,6,0,\n"
)
GRID = b"row,vine,cultivar\n1,1,loam-whistle\n1,2,thimble-ash\n"
LOG = b"season,block,bloom_start,full_bloom\n2025,b1,2025-05-20,2025-05-25\n2024,b2,,2024-05-22\n"
FILES = {
    f"{STATION}/temperatures?unit=C": b"date,tmin_c,tmax_c\n2026-04-01,4.5,18\n2026-04-02,,\n2026-04-03,5,19.25\n",
    f"{VINEYARD}/planting": BLOCKS,
    f"{VINEYARD}/planting?row_spacing_m=3&vine_spacing_m=2": GRID,
    f"{VINEYARD}/bloom-log": LOG,
    f"{VINEYARD}/visits": b"date,block,percent_open,observer,note\n2026-05-18,b1,0,Ida,\n2026-05-20,b2,25*,,wet\n",
}
SIGNS = [b",", b"\n", b"\r", b'"', b";", b"\t", b"-", b"'", b"\xff", b"\0", b"%", b"/", "²½٣".encode()]
MARKS = [b"\xef\xbb\xbf", b"\xff\xfe", b"PK\x03\x04"]
CELLS = [
    b"9" * 30,
    b"1e999",
    b"nan",
    b"inf",
    b"=1+1",
    b"0001-01-01",
    b"9999-12-31",
    b"2026-02-30",
    b"12:00",
    b"b1",
]
BITS = st.sampled_from([*SIGNS, *MARKS, *CELLS])
CHANGES = st.lists(st.tuples(st.floats(0, 1), st.integers(0, 20), BITS), min_size=1, max_size=4)


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    database = tmp_path_factory.mktemp("anything") / "capfall.db"
    with client_of(database) as made:
        put_vineyard(made)
        yield made


@cache
def fit_text() -> str:
    return json.dumps(to_document(SavedFit(a_fit(), ("hill",))))


def places(told: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place in a document."""
    if path:
        yield path
    items = told.items() if isinstance(told, dict) else enumerate(told) if isinstance(told, list) else ()
    for key, value in items:
        yield from places(value, (*path, key))


@cache
def fit_places() -> list[tuple[Any, ...]]:
    return list(places(json.loads(fit_text())))


def changed(told: Any, path: tuple[Any, ...], value: Any) -> Any:
    """The document with another value in one place, if that is still there."""
    made = copy.deepcopy(told)
    part = made
    for key in path[:-1]:
        part = part[key] if holds(part, key) else None
    if holds(part, path[-1]):
        part[path[-1]] = value
    return made


def holds(part: Any, key: Any) -> bool:
    """Whether something stands there."""
    return (isinstance(part, dict) and key in part) or (isinstance(part, list) and key in range(len(part)))


def answered(client: TestClient, method: str, path: str, **sent: Any) -> int:
    answer = client.request(method, path, **sent)
    assert answer.status_code < 500, (method, path, answer.text)
    return answer.status_code


@TRIES
@given(st.lists(st.tuples(st.deferred(lambda: st.sampled_from(fit_places())), ODD), min_size=1, max_size=3))
def test_any_shared_fit(client: TestClient, changes: list[tuple[tuple[Any, ...], Any]]) -> None:
    document = json.loads(fit_text())
    for path, value in changes:
        document = changed(document, path, value)
    answer = client.post(
        "/v1/fits/import", content=json.dumps(document), headers={"Content-Type": "application/json"}
    )
    assert answer.status_code < 500, (changes, answer.text)
    if answer.status_code in (200, 201):
        fit = answer.json()["id"]
        for shown in (f"/v1/fits/{fit}?units=us", f"/v1/fits/{fit}", f"/v1/fits/{fit}/document", "/v1/fits"):
            answered(client, "GET", shown)
        answered(client, "DELETE", f"/v1/fits/{fit}")


@pytest.mark.parametrize("upper", [10.0000000001, 35.0, 90.0])
def test_a_shared_fit_with_an_odd_upper_temperature_is_shown_in_both_units(
    client: TestClient, upper: float
) -> None:
    document = json.loads(fit_text())
    document["heat"] |= {"upper_c": upper, "cutoff": "horizontal"}
    fit = client.post("/v1/fits/import", json=document).json()["id"]
    for units in ("us", "metric"):
        assert answered(client, "GET", f"/v1/fits/{fit}?units={units}") == 200


@TRIES
@given(st.sampled_from(sorted(FILES)), CHANGES)
def test_any_file(client: TestClient, path: str, changes: list[tuple[float, int, bytes]]) -> None:
    data = FILES[path]
    for share, gone, bits in changes:
        at = round(share * len(data))
        data = data[:at] + bits + data[at + gone :]
    mark = "&" if "?" in path else "?"
    for more in (
        "preview=true",
        "preview=true&on_bad_rows=skip&confirm=units&confirm=dates&confirm=latitude",
    ):
        if "planting" in path:
            more = more.partition("&confirm")[0]
        answered(client, "POST", f"{path}{mark}{more}", content=data, headers=CSV)


@pytest.mark.filterwarnings("ignore::UserWarning:openpyxl")
@TRIES
@given(
    st.sampled_from(["xl/worksheets/sheet1.xml", "xl/workbook.xml", "xl/styles.xml", "[Content_Types].xml"]),
    CHANGES,
)
def test_any_workbook(client: TestClient, part: str, changes: list[tuple[float, int, bytes]]) -> None:
    grown = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(book())) as old, zipfile.ZipFile(grown, "w") as new:
        for name in old.namelist():
            data = old.read(name)
            if name == part:
                for share, gone, bits in changes:
                    at = round(share * len(data))
                    data = data[:at] + bits + data[at + gone :]
            new.writestr(name, data)
    sent = {"Content-Type": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"}
    answered(client, "POST", f"{VINEYARD}/visits?preview=true", content=grown.getvalue(), headers=sent)


@cache
def book() -> bytes:
    return workbook({"visits": [["date", "block", "percent_open"], [dt.date(2026, 5, 18), "b1", 0.25]]})
