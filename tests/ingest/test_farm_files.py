"""Sixty files as farms keep them: each read right, refused with its place, or taken with a word about the rest."""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from service import clock
from tests.conftest import client_of
from tests.ingest.farm_files import farm_files
from tests.ingest.messy import TODAY
from tests.ingest.test_messy_files import same, sent, stored


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    folder: Path = tmp_path_factory.mktemp("farm")
    with pytest.MonkeyPatch.context() as patch, client_of(folder / "capfall.db") as client:
        patch.setattr(clock, "now", lambda: dt.datetime.combine(TODAY, dt.time(12), dt.UTC))
        yield client


@pytest.mark.slow
@pytest.mark.parametrize("on_bad_rows", ["reject", "skip"])
def test_no_file_of_a_farm_is_silently_wrong(service: TestClient, on_bad_rows: str) -> None:
    fates: dict[str, Counter[str]] = defaultdict(Counter)
    count = 0
    for number, (style, must, file) in enumerate(farm_files()):
        count += 1
        key = f"{on_bad_rows}-{number}"
        file.query["on_bad_rows"] = on_bad_rows
        answer = sent(service, key, file)
        about = f"{style}: {file.data[:200]!r}\n{answer.text[:1500]}"
        there = stored(service, key, file)
        if answer.status_code == 422:
            assert must != "right", about
            assert there == {}, about
            for error in answer.json()["errors"]:
                assert error["where"].startswith(("line", "unit", "query.")), about
                assert len(error["problem"]) > 15, about
            fates[style]["refused"] += 1
            continue
        assert answer.status_code == 200, about
        receipt = answer.json()
        assert there.keys() <= file.truth.keys(), about
        wrong = {place: (file.truth[place], found) for place, found in there.items()
                 if found is not None and not same(file.truth[place], found, file.kind)}  # fmt: skip
        assert not wrong, f"{wrong}\n{about}"
        whole = there.keys() == file.truth.keys() and all(value is not None for value in there.values())
        if whole:
            fates[style]["right"] += 1
            continue
        assert must != "right", about
        assert receipt["bad_rows"] or receipt["warnings"] or receipt.get("missing_values"), about
        fates[style]["told"] += 1
    assert count >= 60
    # what needs no guess is read: the styles that must be right, and no fewer
    read = {style for style, each in fates.items() if each["right"]}
    assert read >= {style for style, must, _ in farm_files() if must == "right"}
