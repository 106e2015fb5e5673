"""Everything in one call, from files alone: fit, forecast and pollen cover, nothing stored."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace

from models.bloom.site import Site
from models.errors import BadInput, Problem
from models.records import Planting
from service.ingest.against_record import check_against_record
from service.ingest.any_planting import read_any_planting, spacing_of
from service.ingest.bloom_log import ReadBloomLog, read_bloom_log
from service.ingest.options import AS_THEY_ARE, ReadOptions
from service.ingest.planting import ReadPlanting
from service.ingest.temperature_headers import TemperatureUnit
from service.ingest.temperatures import ReadTemperatures, read_temperatures
from service.ingest.visits import ReadVisits, read_visits
from service.usecases.fit_documents import SavedFit
from service.usecases.fits import FitOptions, fit_vineyards
from service.usecases.forecasts import Outlook, VineyardForecast, forecast_vineyard
from service.usecases.pollen import VineyardPollination, pollinate
from service.usecases.temperatures import check_plausible
from service.usecases.vineyard_records import VineyardRecords, species_of

VINEYARD = "report"
# Where none is given. Only the hemisphere counts: it says which dates make a season.
NORTHERN_LATITUDE = 45.0


@dataclass(frozen=True)
class ReportFiles:
    """The files of a grower, as CSV; a bloom log or visits are needed."""

    temperatures: bytes
    planting: bytes
    bloom_log: bytes | None = None
    visits: bytes | None = None
    outlook: bytes | None = None


@dataclass(frozen=True)
class ReportOptions:
    """How to read and compute. [degree, m, day]

    ``unit`` None: the headers state it. ``date_formats`` are those of single files, by their names in `ReportFiles`,
    where they differ from that of ``reading``. The spacings are for a grid.
    """

    as_of: dt.date
    unit: TemperatureUnit | None = None
    latitude: float | None = None
    reach_m: float = Planting.reach_m
    interval: float = 0.8
    reading: ReadOptions = AS_THEY_ARE
    date_formats: Mapping[str, str] = field(default_factory=dict)
    search: bool = True
    row_spacing_m: float | None = None
    vine_spacing_m: float | None = None
    receptive_days: int | None = None
    pollen_days: int | None = None

    def reading_of(self, file: str) -> ReadOptions:
        """How one of the files is to be read."""
        return replace(self.reading, date_format=self.date_formats.get(file, self.reading.date_format))


@dataclass(frozen=True, eq=False)
class FilesRead:
    """What each file held, and what was wrong in it."""

    temperatures: ReadTemperatures
    planting: ReadPlanting
    bloom_log: ReadBloomLog | None
    visits: ReadVisits | None
    outlook: ReadTemperatures | None


@dataclass(frozen=True, eq=False)
class Report:
    """Fit, forecast and pollen cover, and what the files held."""

    fit: SavedFit
    forecast: VineyardForecast
    pollination: VineyardPollination
    read: FilesRead


def bloom_report(files: ReportFiles, options: ReportOptions) -> Report:
    """Read the files, fit, and forecast from what was known on ``as_of``; nothing later is looked at.

    The outlook is taken as issued on that day.

    Raises
    ------
    BadInput
        If a file cannot be read, each fault with its file and line; or there are no observations.
    NotEnoughData
        If nothing is left to fit, or no past season can continue this one.
    """
    if files.bloom_log is None and files.visits is None:
        raise BadInput(
            "there are no observations", [Problem("bloom_log", "a bloom log or visits are needed")]
        )
    latitude = NORTHERN_LATITUDE if options.latitude is None else options.latitude
    read = _read(files, options, latitude)
    vineyard = VineyardRecords(
        Site(
            VINEYARD,
            latitude,
            read.temperatures.daily(),
            log=() if read.bloom_log is None else read.bloom_log.rows,
            visits=() if read.visits is None else read.visits.visits,
        ),
        Planting(
            read.planting.blocks,
            {cultivar.key: cultivar for cultivar in read.planting.cultivars},
            options.reach_m,
        ),
        receptive_days=options.receptive_days,
        pollen_days=options.pollen_days,
        north_assumed=options.latitude is None,
        species=species_of(read.planting.cultivars),
    )
    fit = fit_vineyards([vineyard.known_on(options.as_of)], FitOptions(search=options.search))
    outlook = None if read.outlook is None else Outlook(options.as_of, read.outlook.daily())
    foreseen = forecast_vineyard(
        vineyard, fit, as_of=options.as_of, interval=options.interval, outlook=outlook
    )
    return Report(fit, foreseen, pollinate(foreseen), read)


def _read(files: ReportFiles, options: ReportOptions, latitude: float) -> FilesRead:
    confirm = options.reading.confirm
    with in_file("temperatures"):
        temperatures = read_temperatures(
            files.temperatures, unit=options.unit, options=options.reading_of("temperatures")
        )
        check_plausible(temperatures, None, latitude=options.latitude, confirm=confirm)
    with in_file("planting"):
        planting = read_any_planting(
            files.planting,
            spacing=spacing_of(options.row_spacing_m, options.vine_spacing_m),
            cultivars={},
            on_bad_rows=options.reading.on_bad_rows,
        )
    blocks = {block.key: block.cultivar for block in planting.blocks}
    log = visits = outlook = None
    if files.bloom_log is not None:
        with in_file("bloom_log"):
            how = options.reading_of("bloom_log")
            log = read_bloom_log(files.bloom_log, blocks=blocks, latitude=latitude, options=how)
    if files.visits is not None:
        with in_file("visits"):
            how = options.reading_of("visits")
            visits = read_visits(files.visits, blocks=blocks, latitude=latitude, options=how)
    if files.outlook is not None:
        with in_file("outlook"):
            how = replace(options.reading_of("outlook"), sent_on=None)
            outlook = read_temperatures(files.outlook, unit=options.unit, options=how)
            if "units" not in confirm:
                check_against_record(outlook, temperatures.daily(), outlook=True)
    return FilesRead(temperatures, planting, log, visits, outlook)


@contextmanager
def in_file(name: str) -> Iterator[None]:
    """Say in which file a fault lies."""
    try:
        yield
    except BadInput as error:
        problems = [Problem(f"{name}: {fault.where}", fault.problem) for fault in error.problems]
        raise BadInput(f"{name}: {error.message}", problems or [Problem(name, error.message)]) from None
