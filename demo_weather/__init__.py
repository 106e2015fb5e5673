"""The demo: an invented vineyard, its cultivars and weather, as the CSV files a grower would bring."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from importlib import resources

FILE_NAMES = ("temperatures.csv", "outlook.csv", "planting.csv", "bloom_log.csv", "visits.csv")
AS_OF = dt.date(2026, 5, 20)


@dataclass(frozen=True)
class DemoStation:
    """The demo's weather station. [degrees north and east, m]"""

    key: str
    name: str
    latitude: float
    longitude: float
    elevation_m: float


@dataclass(frozen=True)
class DemoVineyard:
    """The demo's vineyard, and how far pollen is carried there. [m]"""

    key: str
    name: str
    reach_m: float


STATION = DemoStation("sandlark-mast", "Sandlark Bend mast", 31.1, -87.3, 58.0)
VINEYARD = DemoVineyard("sandlark-bend", "Sandlark Bend", 15.24)


def files() -> dict[str, bytes]:
    """The content of every CSV, by file name; temperatures are in °C, as their headers say."""
    folder = resources.files(__name__)
    return {name: (folder / name).read_bytes() for name in FILE_NAMES}
