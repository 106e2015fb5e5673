"""One grower's data within one transaction."""

from __future__ import annotations

from sqlalchemy import Connection

from service.store.calendar import CalendarEvents
from service.store.changes import Changes
from service.store.crop_counts import CropCounts
from service.store.everything import Everything
from service.store.frosted import FrostedBlocks
from service.store.journal import Journal
from service.store.observations import BloomLog, Visits
from service.store.plantings import Blocks, Cultivars, Vineyards
from service.store.results import Fits, FitsInUse, Jobs
from service.store.set_counts import SetCounts
from service.store.told import NewsReaders, ToldDays
from service.store.weather import Stations, Temperatures


class Repositories:
    """All that one grower owns, within one transaction; things of others look as if there were none."""

    def __init__(self, connection: Connection, grower: str, journal: Journal) -> None:
        self.grower = grower
        self.journal = journal
        self.stations = Stations(connection, grower, journal)
        self.temperatures = Temperatures(connection, grower, journal)
        self.cultivars = Cultivars(connection, grower, journal)
        self.vineyards = Vineyards(connection, grower, journal)
        self.blocks = Blocks(connection, grower, journal)
        self.frosted = FrostedBlocks(connection, grower, journal)
        self.bloom_log = BloomLog(connection, grower, journal)
        self.visits = Visits(connection, grower, journal)
        self.set_counts = SetCounts(connection, grower, journal)
        self.crop_counts = CropCounts(connection, grower, journal)
        self.fits = Fits(connection, grower, journal)
        self.fits_in_use = FitsInUse(connection, grower, journal)
        self.jobs = Jobs(connection, grower, journal)
        self.changes = Changes(connection, grower, journal)
        self.calendar = CalendarEvents(connection, grower, journal)
        self.told_days = ToldDays(connection, grower, journal)
        self.news_readers = NewsReaders(connection, grower, journal)
        self.everything = Everything(connection, grower, journal)
