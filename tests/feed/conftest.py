"""A small vineyard with a past, a fit, and readers of its news."""

from __future__ import annotations

import datetime as dt
import shutil
from pathlib import Path

import numpy as np
import pytest

from tests.api import past_seasons as past
from tests.api.asking import VINEYARD
from tests.conftest import client_of

MORNING = dt.datetime(2015, 3, 20, 12, 0, tzinfo=dt.UTC)  # 8 in the morning there
A_DAY = dt.timedelta(days=1)
READER = "ida@hollow.example"


def all_days() -> past.Days:
    """When its blocks bloomed, this season too."""
    return past.days_of(past.block_heats(np.random.default_rng(4), between_seasons=20.0, within=12.0))


@pytest.fixture(scope="session")
def fitted(migrated_database: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twelve seasons of a log and a fit; weather to the end of this season."""
    copy = tmp_path_factory.mktemp("news") / "capfall.db"
    shutil.copy(migrated_database, copy)
    with client_of(copy) as client:
        past.plant(client)
        past.send(client, "bloom-log", past.log_csv(all_days()))
        past.fitted(client)
        assert client.patch(VINEYARD, json={"timezone": "America/New_York"}).status_code == 200
        assert client.put(f"{VINEYARD}/news-readers", json={"addresses": [READER]}).status_code == 200
    return copy


@pytest.fixture
def database(fitted: Path, tmp_path: Path) -> Path:
    copy = tmp_path / "capfall.db"
    shutil.copy(fitted, copy)
    return copy
