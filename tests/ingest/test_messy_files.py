"""Two hundred messy files over HTTP: what was stored is compared with the truth that each was written from."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from service import clock
from tests.api.asking import Answer
from tests.conftest import client_of
from tests.ingest.messy import BLOCKS, TODAY, MessyFile, files

PATHS = {"temperatures": "stations/{}/temperatures", "bloom_log": "vineyards/{}/bloom-log",
         "visits": "vineyards/{}/visits", "planting": "vineyards/{}/planting"}  # fmt: skip
HALF_TENTH_C = 0.06  # of whole tenths of °F
COUNT = 200


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    folder: Path = tmp_path_factory.mktemp("messy")
    with pytest.MonkeyPatch.context() as patch, client_of(folder / "capfall.db") as client:
        patch.setattr(clock, "now", lambda: dt.datetime.combine(TODAY, dt.time(12), dt.UTC))
        yield client


def sent(client: TestClient, key: str, file: MessyFile) -> Answer:
    """A new station and vineyard, and the file."""
    place = {"name": key, "latitude": 33.5, "longitude": -84.0}
    assert client.put(f"/v1/stations/{key}", json=place).status_code == 201
    if file.kind != "temperatures":
        assert client.put(f"/v1/vineyards/{key}", json={"name": key, "station": key}).status_code == 201
    if file.kind in ("bloom_log", "visits"):
        rows = "".join(f"{block},{name},{flower},0,0\n" for block, (name, flower) in BLOCKS.items())
        planting = {"file": ("planting.csv", "block,cultivar,flower_type,x_m,y_m\n" + rows)}
        assert client.post(f"/v1/vineyards/{key}/planting", files=planting).status_code == 200
    path = "/v1/" + PATHS[file.kind].format(key)
    return client.post(path, params=file.query, files={"file": ("sent", file.data)})


def stored(client: TestClient, key: str, file: MessyFile) -> dict[Any, Any]:
    """What is there, by the keys of the truth."""
    match file.kind:
        case "temperatures":
            days = client.get(f"/v1/stations/{key}/temperatures").json()["days"]
            return {
                dt.date.fromisoformat(day["date"]): None
                if day["tmin"] is None
                else (day["tmin"], day["tmax"])
                for day in days
            }
        case "planting":
            blocks = client.get(f"/v1/vineyards/{key}/blocks").json()["blocks"]
            return {
                each["block"]: (each["cultivar"], each["x_m"], each["y_m"], each["vines"]) for each in blocks
            }
        case "bloom_log":
            rows = client.get(f"/v1/vineyards/{key}/bloom-log").json()["rows"]
            return {
                (row["season"], row["block"], stage): (dt.date.fromisoformat(date), row["checked_every_days"])
                for row in rows
                for stage, date in row["dates"].items()
            }
    visits = client.get(f"/v1/vineyards/{key}/visits").json()["visits"]
    return {
        (dt.date.fromisoformat(each["date"]), each["block"], each["observer"] or ""): each["percent_open"]
        for each in visits
    }


def same(truth: Any, found: Any, kind: str) -> bool:
    """Whether a stored value is the true one."""
    if truth is None or found is None:
        return truth is found
    match kind:
        case "temperatures":
            return all(abs(a - b) <= HALF_TENTH_C for a, b in zip(truth, found, strict=True))
        case "planting":
            return (truth[0], truth[3]) == (found[0], found[3]) and found[1:3] == pytest.approx(
                truth[1:3], abs=1e-3
            )
        case "visits":
            return bool(truth[0] <= found <= truth[1])
    return bool(truth == found)


@pytest.mark.slow
def test_no_file_is_silently_wrong(service: TestClient) -> None:
    fates: Counter[str] = Counter()
    for number, file in enumerate(files(COUNT)):
        key = f"messy-{number}"
        answer = sent(service, key, file)
        about = f"file {number}, {file.kind}, {file.query}: {', '.join(file.messes)}\n{answer.text[:1500]}"
        there = stored(service, key, file)
        if answer.status_code == 422:
            assert file.fate == "refused", about
            assert there == {}, about
            problems = [error["problem"] for error in answer.json()["errors"]]
            assert any(words in problem for words in file.told for problem in problems), about
            assert all(error["where"] and error["problem"] for error in answer.json()["errors"]), about
            fates["refused"] += 1
            continue
        assert answer.status_code == 200, about
        assert file.fate != "refused", about
        assert there.keys() == file.truth.keys(), about
        wrong = {place: (true, there[place]) for place, true in file.truth.items()
                 if not same(true, there[place], file.kind)}  # fmt: skip
        assert not wrong, f"{wrong}\n{about}"
        warnings = answer.json()["warnings"]
        assert not file.told or any(words in warning for words in file.told for warning in warnings), about
        fates[file.fate] += 1
    # a reader that refuses or doubts everything would pass the above
    assert fates["right"] >= COUNT * 0.4, fates
    assert fates["refused"] >= COUNT * 0.15, fates
    assert fates["told"] >= COUNT * 0.1, fates


def test_the_generator_is_always_the_same() -> None:
    assert [file.messes for file in files(10)] == [file.messes for file in files(10)]
