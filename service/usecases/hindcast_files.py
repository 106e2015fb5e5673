"""A vineyard's past from files alone, to hindcast."""

from __future__ import annotations

from dataclasses import dataclass

from models.bloom.site import Site
from models.records import Planting
from service.ingest.any_planting import GridSpacing, read_any_planting
from service.ingest.bloom_log import ReadBloomLog, read_bloom_log
from service.ingest.options import AS_THEY_ARE, ReadOptions
from service.ingest.planting import ReadPlanting
from service.ingest.temperature_headers import TemperatureUnit
from service.ingest.temperatures import ReadTemperatures, read_temperatures
from service.usecases.report import NORTHERN_LATITUDE, in_file
from service.usecases.temperatures import check_plausible
from service.usecases.vineyard_records import VineyardRecords

VINEYARD = "vineyard"


@dataclass(frozen=True, eq=False)
class PastRead:
    """What the files held."""

    vineyard: VineyardRecords
    temperatures: ReadTemperatures
    planting: ReadPlanting | None
    bloom_log: ReadBloomLog


def read_past(
    temperatures: bytes,
    bloom_log: bytes,
    *,
    planting: bytes | None = None,
    spacing: GridSpacing | None = None,
    unit: TemperatureUnit | None = None,
    latitude: float | None = None,
    options: ReadOptions = AS_THEY_ARE,
) -> PastRead:
    """Read the files of a vineyard; a log by cultivar needs no planting.

    Parameters
    ----------
    temperatures, bloom_log, planting : bytes
        CSV files.
    spacing : GridSpacing or None
        Of a planting that counts rows and vines.
    unit : TemperatureUnit or None
        None: the headers of the temperatures state it.
    latitude : float or None
        None: north of the equator. [degree]
    options : ReadOptions

    Raises
    ------
    BadInput
        If a file cannot be read, each fault with its file and line, or its values can't be right.
    """
    with in_file("temperatures"):
        weather = read_temperatures(temperatures, unit=unit, options=options)
        check_plausible(weather, None, latitude=latitude, confirm=options.confirm)
    latitude = NORTHERN_LATITUDE if latitude is None else latitude
    planted = None
    if planting is not None:
        with in_file("planting"):
            planted = read_any_planting(planting, spacing=spacing, cultivars={})
    blocks = None if planted is None else {block.key: block.cultivar for block in planted.blocks}
    with in_file("bloom_log"):
        log = read_bloom_log(bloom_log, blocks=blocks, latitude=latitude, options=options)
    site = Site(VINEYARD, latitude, weather.daily(), log.rows)
    return PastRead(VineyardRecords(site, Planting((), {})), weather, planted, log)
