"""Vineyards to look at: the demo as it is, and stretched to what a page can trip over. All invented."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import demo_weather
from models.records import Cultivar, HeatRule, Visit
from service.ingest.planting import read_planting
from service.ingest.temperatures import read_temperatures
from service.store import Store
from service.store.records import Station, Vineyard
from service.store.repositories import Repositories
from service.usecases.demo import load_demo
from service.usecases.fits import FitOptions, make_fit
from service.usecases.observations import store_bloom_log, store_visits
from service.usecases.plantings import store_planting
from service.usecases.temperatures import store_observed

GROWER = "local"
KEY = demo_weather.VINEYARD.key
AS_OF = demo_weather.AS_OF
LONG_NAME = "Old Thundering Marsh Ladle of the Lower Bend, Late Bronze Selection Number Nine"


def demo(records: Repositories) -> None:
    """The demo."""
    load_demo(records)


def long_names(records: Repositories) -> None:
    """Cultivar names that no column has room for."""
    load_demo(records)
    for cultivar in records.cultivars.all():
        records.cultivars.put(_renamed(cultivar, f"{cultivar.name}, {LONG_NAME}"))


def one_block(records: Repositories) -> None:
    """A vineyard of a single, pistillate block, beside the demo whose bloom log it learns from."""
    load_demo(records)
    _vineyard(
        records, "one", "One Row", "block,cultivar,flower_type,x_m,y_m\nrow-1,Copper Lull,pistillate,0,0\n"
    )


def forty_blocks(records: Repositories) -> None:
    """Three times the demo's planting and one more block."""
    load_demo(records)
    header, *rows = demo_weather.files()["planting.csv"].decode().strip().splitlines()
    lines = [header]
    for place, part in enumerate(("upper", "hill", "river")):
        for row in rows:
            block, cultivar, flower, x, y, *rest = row.split(",")
            moved = f"{float(y) + 60 * place:g}"
            lines.append(",".join([f"{part}-{block}", cultivar, flower, x, moved, *rest]))
    lines.append("lone,Plover Skein,pistillate,130,90,6,no,12.5")
    _vineyard(records, "forty", "Forty Blocks", "\n".join(lines))


def no_data(records: Repositories) -> None:
    """A vineyard with nothing in it."""
    records.stations.put(Station("bare", "Bare", 31.0, -87.0))
    records.vineyards.put(Vineyard("bare", "Bare Hill", "bare"))


def few_seasons(records: Repositories) -> None:
    """A part of the demo that is quickly hindcast."""
    files = demo_weather.files()
    station = demo_weather.STATION
    records.stations.put(Station(station.key, station.name, station.latitude, station.longitude))
    read = read_temperatures(files["temperatures.csv"], unit=None)
    store_observed(records, station.key, read)
    header, *rows = files["planting.csv"].decode().strip().splitlines()
    west = [row for row in rows if row.startswith(("west-1", "west-4"))]
    _vineyard(records, "few", "Few Seasons", "\n".join([header, *west]))
    header, *rows = files["bloom_log.csv"].decode().strip().splitlines()
    late = [row for row in rows if row.split(",")[1] in ("west-1", "west-4") and row >= "2022"]
    log = "\n".join([header, *late]).encode()
    store_bloom_log(records, "few", log)


def overdue(records: Repositories) -> None:
    """The demo in June: visits say not yet where the medians are past."""
    load_demo(records)
    late = [
        Visit(dt.date(2026, 6, 10), "", block, percent_open=0.0)
        for block in ("west-4", "middle-2", "middle-1")
    ]
    store_visits(records, KEY, late)


def _renamed(cultivar: Cultivar, name: str) -> Cultivar:
    return Cultivar(
        cultivar.key,
        name,
        cultivar.flower_type,
        cultivar.viable_pollen,
        cultivar.species,
        cultivar.berry_mass_g,
    )


def _vineyard(records: Repositories, key: str, name: str, planting: str) -> None:
    records.vineyards.put(Vineyard(key, name, demo_weather.STATION.key))
    store_planting(records, key, read_planting(planting.encode()))


Scene = tuple[Callable[[Repositories], None], str, dt.date]
FEW: Scene = (few_seasons, "few", AS_OF)
SCENES: dict[str, Scene] = {
    "demo": (demo, KEY, AS_OF),
    "long_names": (long_names, KEY, AS_OF),
    "one_block": (one_block, "one", AS_OF),
    "forty_blocks": (forty_blocks, "forty", AS_OF),
    "no_data": (no_data, "bare", AS_OF),
    "overdue": (overdue, KEY, dt.date(2026, 6, 12)),
}


def build(scene: str, database: Path) -> None:
    """Fill a new database with a scene and fit it, without a search: that is quicker."""
    fill = (SCENES | {"few_seasons": FEW})[scene][0]
    store = Store(f"sqlite:///{database}")
    try:
        store.migrate()
        with store.transaction(GROWER) as records:
            fill(records)
        if scene != "no_data":
            make_fit(store, GROWER, vineyards=None, options=FitOptions(rule=HeatRule()))
    finally:
        store.close()
