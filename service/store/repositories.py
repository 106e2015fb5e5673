"""One grower's data within one transaction."""

from __future__ import annotations

from sqlalchemy import Connection

from service.store.calendar import CalendarEvents
from service.store.frosted import FrostedBlocks
from service.store.observations import BloomLog, Visits
from service.store.plantings import Blocks, Cultivars, Vineyards
from service.store.results import Fits, Jobs
from service.store.weather import Stations, Temperatures


class Repositories:
    """All that one grower owns, within one transaction; things of others look as if there were none."""

    def __init__(self, connection: Connection, grower: str) -> None:
        self.grower = grower
        self.stations = Stations(connection, grower)
        self.temperatures = Temperatures(connection, grower)
        self.cultivars = Cultivars(connection, grower)
        self.vineyards = Vineyards(connection, grower)
        self.blocks = Blocks(connection, grower)
        self.frosted = FrostedBlocks(connection, grower)
        self.bloom_log = BloomLog(connection, grower)
        self.visits = Visits(connection, grower)
        self.fits = Fits(connection, grower)
        self.jobs = Jobs(connection, grower)
        self.calendar = CalendarEvents(connection, grower)
