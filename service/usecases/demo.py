"""The demo vineyard, loaded into a store as a grower would load it."""

from __future__ import annotations

from dataclasses import dataclass

import demo_weather
from service.ingest.planting import read_planting
from service.ingest.temperatures import ReadTemperatures, read_temperatures
from service.store.records import Station, Vineyard
from service.store.repositories import Repositories
from service.usecases.observations import StoredObservations, store_bloom_log, store_visits_file
from service.usecases.plantings import StoredPlanting, store_planting
from service.usecases.temperatures import store_observed, store_outlook


@dataclass(frozen=True, eq=False)
class DemoLoaded:
    """What each file of the demo held."""

    temperatures: ReadTemperatures
    outlook: ReadTemperatures
    planting: StoredPlanting
    bloom_log: StoredObservations
    visits: StoredObservations


def load_demo(records: Repositories) -> DemoLoaded:
    """Store the demo's station, vineyard and files."""
    files, station, vineyard = demo_weather.files(), demo_weather.STATION, demo_weather.VINEYARD
    records.stations.put(
        Station(station.key, station.name, station.latitude, station.longitude, station.elevation_m)
    )
    records.vineyards.put(Vineyard(vineyard.key, vineyard.name, station.key, vineyard.reach_m))
    temperatures = read_temperatures(files["temperatures.csv"], unit=None)
    store_observed(records, station.key, temperatures)
    outlook = read_temperatures(files["outlook.csv"], unit=None)
    store_outlook(records, station.key, outlook, issued_on=demo_weather.AS_OF)
    planting = store_planting(records, vineyard.key, read_planting(files["planting.csv"]))
    log = store_bloom_log(records, vineyard.key, files["bloom_log.csv"])
    visits = store_visits_file(records, vineyard.key, files["visits.csv"])
    records.journal.say("demo")
    return DemoLoaded(temperatures, outlook, planting, log, visits)
