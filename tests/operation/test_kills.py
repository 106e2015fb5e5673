"""A service that is killed in the midst of uploads, fits, imports and undos loses nothing that it acknowledged.

``CAPFALL_KILLS=100 pytest -s tests/operation/test_kills.py`` kills as often as that; the usual run three times.
"""

from __future__ import annotations

import datetime as dt
import json
import os
import random
import threading
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx2
import pytest

from service.store.backup import check
from service.usecases.fit_documents import SavedFit, to_document
from tests.api.asking import CSV
from tests.operation.processes import Serving, free_port, serving
from tests.operation.test_two_workers import VINEYARD, put_past
from tests.usecases.test_fit_documents import a_fit

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(os.name != "posix", reason="the service is killed by a signal"),
]

KILLS = int(os.environ.get("CAPFALL_KILLS", "3"))
ROWS = 40  # of one upload


@dataclass
class Told:
    """What was acknowledged; of what was under way at a kill either outcome is right."""

    uploads: dict[str, set[int]] = field(default_factory=dict)
    fits: set[str] = field(default_factory=set)
    acknowledged: Counter[str] = field(default_factory=Counter)


def upload(observer: str) -> bytes:
    first = dt.date(2026, 4, 1)
    rows = [f"{first + dt.timedelta(days=day)},b1,0,{observer}" for day in range(ROWS)]
    return "\n".join(["date,block,percent_open,observer", *rows, ""]).encode()


def write_until_killed(served: Serving, told: Told, chance: random.Random, shared: dict[str, Any]) -> None:
    """Uploads, fits, imports and undos, one after the other, each noted before it is sent and once it is answered."""
    with served.client() as client:
        while True:
            number = sum(told.acknowledged.values()) + 1000 * chance.randrange(1000)
            try:
                match chance.choice(["upload", "upload", "undo", "import", "fit"]):
                    case "import":
                        body = {**shared, "vineyards": [f"of-{number}"]}
                        told.fits.add(answered(client.post("/v1/fits/import", json=body))["id"])
                        told.acknowledged["import"] += 1
                    case "fit":
                        heat = {"method": "average", "base_c": 5 + chance.random()}
                        told.fits.add(answered(client.post("/v1/fits", json={"heat": heat}))["id"])
                        told.acknowledged["fit"] += 1
                    case kind:
                        observer = f"o{number}"
                        told.uploads[observer] = {0, ROWS}
                        sent = client.post(f"{VINEYARD}/visits", content=upload(observer), headers=CSV)
                        answered(sent)
                        told.uploads[observer] = {ROWS}
                        told.acknowledged["upload"] += 1
                        if kind == "undo":
                            told.uploads[observer] = {0, ROWS}
                            answered(client.post(f"/v1/changes/{sent.headers['Capfall-Change']}/undo"))
                            told.uploads[observer] = {0}
                            told.acknowledged["undo"] += 1
            except httpx2.TransportError:
                return


def answered(answer: httpx2.Response) -> Any:
    assert answer.status_code < 300, answer.text
    return answer.json()


def lost(served: Serving, told: Told) -> list[str]:
    """What was acknowledged and is not so, or stands half."""
    with served.client() as client:
        found = Counter(visit["observer"] for visit in client.get(f"{VINEYARD}/visits").json()["visits"])
        fits = {fit["id"] for fit in client.get("/v1/fits").json()["fits"]}
    half = [observer for observer, right in told.uploads.items() if found[observer] not in right]
    for observer in told.uploads:  # what came of it is known by now
        told.uploads[observer] = {found[observer]}
    return [*half, *sorted(told.fits - fits)]


def test_nothing_that_was_acknowledged_is_lost_by_a_kill(tmp_path: Path) -> None:
    told, chance, port = Told(), random.Random(20261126), free_port()
    shared: dict[str, Any] = json.loads(json.dumps(to_document(SavedFit(a_fit(), ("hill",)))))
    with serving(tmp_path, port=port) as served, served.client() as client:
        put_past(client)
    for _ in range(KILLS):
        with serving(tmp_path, port=port) as served:
            assert lost(served, told) == []
            failed: list[BaseException] = []

            def write(served: Serving = served, failed: list[BaseException] = failed) -> None:
                try:
                    write_until_killed(served, told, chance, shared)
                except AssertionError as error:
                    failed.append(error)

            writing = threading.Thread(target=write)
            writing.start()
            writing.join(chance.uniform(0.3, 4))
            served.process.kill()
            writing.join(60)
            assert failed == []
    with serving(tmp_path, port=port) as served:
        assert lost(served, told) == []
    assert check(tmp_path / "capfall.db").faults == ()
    assert told.acknowledged["upload"] >= 1
    print(f"{KILLS} kills; acknowledged: {dict(told.acknowledged)}; lost: 0")
