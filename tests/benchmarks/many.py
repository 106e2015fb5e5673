"""Many stations and vineyards, by the commands themselves, on PostgreSQL or SQLite.

    .venv/bin/python -m tests.benchmarks.many [STATIONS [YEARS [VINEYARDS]]]

`capfall import-stations` takes a folder of 500 seeded, synthetic stations with 30 years each, twice; then `capfall
run-all` tells the news of 200 vineyards of ten growers. The database is a schema of its own on the server that
CAPFALL_TEST_POSTGRES names, dropped afterwards; without one, a SQLite file.
"""

from __future__ import annotations

import datetime as dt
import os
import sys
import tempfile
import time
import uuid
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import numpy as np
from sqlalchemy import create_engine, make_url, text

import demo_weather
from models.heat.accumulate import accumulate_seasons
from models.records import DailyTemperatures, HeatRule
from service import clock
from service.ingest.planting import read_planting
from service.ingest.temperatures import read_temperatures
from service.store.engine import Store
from service.store.records import Station, Vineyard
from service.threads import use_one_thread
from service.usecases.fits import FitOptions, make_fit
from service.usecases.observations import store_bloom_log
from service.usecases.plantings import store_planting
from service.usecases.temperatures import store_observed
from tests.benchmarks.measuring import made_on, table, write_page

SEED = 11
STATIONS, YEARS, VINEYARDS, GROWERS = 500, 30, 200, 10
# In the south, where vines bloom when the days of these benchmarks were.
LATITUDE = -33.0
RULE = HeatRule()
STAGES = {"budbreak": 180.0, "bloom_start": 420.0, "full_bloom": 500.0, "bloom_end": 600.0}  # [°C·day]


class Ran(NamedTuple):
    """What a command took, with all processes that it started."""

    processor_s: float
    clock_s: float
    peak_mb: float
    exit_code: int
    last_line: str


def weather(seed: int, years: int) -> DailyTemperatures:
    """Daily extremes through yesterday; warm and cold spells last about three weeks."""
    end = np.datetime64(clock.today(), "D")
    dates = np.arange(end - np.timedelta64(round(365.25 * years), "D"), end)
    random = np.random.default_rng((SEED, seed))
    shocks = random.normal(0, 1.0, dates.size)
    spell = np.zeros(dates.size)
    for day in range(1, dates.size):
        spell[day] = 0.95 * spell[day - 1] + shocks[day]
    of_year = (dates - dates.astype("datetime64[Y]")).astype(np.float64)
    mean = 17 + 10 * np.cos(2 * np.pi * (of_year - 15) / 365.25) + spell + random.normal(0, 1)
    return DailyTemperatures(dates, mean - 6, mean + 6)


def temperatures_csv(days: DailyTemperatures) -> bytes:
    """As a station's file."""
    pairs = zip(days.dates, days.tmin_c, days.tmax_c, strict=True)
    rows = [f"{day},{low:.1f},{high:.1f}\n" for day, low, high in pairs]
    return ("date,tmin_c,tmax_c\n" + "".join(rows)).encode()


def write_stations(folder: Path, stations: int, years: int) -> int:
    """A folder as `capfall import-stations` takes it; gives how many days it holds."""
    listed = ["key,name,latitude,longitude,elevation_m"]
    days = 0
    for number in range(stations):
        made = weather(number, years)
        days += made.dates.size
        (folder / f"s{number:03}.csv").write_bytes(temperatures_csv(made))
        listed.append(f"s{number:03},Station {number},{LATITUDE},{20 + number / 100},250")
    (folder / "stations.csv").write_text("\n".join(listed) + "\n")
    return days


def log_csv(days: DailyTemperatures, blocks: Sequence[str]) -> bytes:
    """When blocks came to each stage: at a heat of their own, give or take what seasons bring."""
    random = np.random.default_rng(SEED)
    years = sorted({day.year for day in days.dates.tolist()})[1:-1]
    rows = [f"season,block,{','.join(STAGES)}"]
    for season, heat in accumulate_seasons(days, RULE, years, LATITUDE).items():
        shared = random.normal(0, 15)
        for place, block in enumerate(blocks):
            found = np.searchsorted(
                heat.accumulated, np.array(list(STAGES.values())) + 8 * place + shared + random.normal(0, 8)
            )
            dates = [heat.window.start + dt.timedelta(days=int(day)) for day in found]
            rows.append(f"{season},{block},{','.join(map(str, dates))}")
    return ("\n".join(rows) + "\n").encode()


def plant(store: Store, vineyards: int, years: int, *, growers: int = GROWERS) -> None:
    """The vineyards of some growers, each with the demo's blocks, a log of the first, and a fit in use for all."""
    planting = read_planting(demo_weather.files()["planting.csv"])
    for number in range(min(growers, vineyards)):
        grower, days = f"grower-{number}", weather(1000 + number, years)
        with store.access() as access:
            access.add_grower(grower)
        with store.transaction(grower) as records:
            records.stations.put(Station("mast", "Mast", LATITUDE, 20.0, 250.0))
            store_observed(records, "mast", read_temperatures(temperatures_csv(days), unit=None))
            for each in range(number, vineyards, growers):
                records.vineyards.put(Vineyard(f"v{each:03}", f"Vineyard {each}", "mast", 15.24))
                store_planting(records, f"v{each:03}", planting)
            log = log_csv(days, [block.key for block in planting.blocks])
            store_bloom_log(records, f"v{number:03}", log)
        make_fit(store, grower, vineyards=None, options=FitOptions(rule=RULE))


def run(*arguments: str, environment: Mapping[str, str]) -> Ran:
    """A command, and what it and its processes took."""
    begun = time.monotonic()
    with tempfile.TemporaryFile() as said:
        code = (
            "import sys, resource; from service.cli import app; from tests.benchmarks.measuring import peak_mb\n"
            "try: app(sys.argv[1:])\n"
            "finally: print(max(peak_mb(), resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * 1024 / 1e6))"
        )
        pid = os.posix_spawn(
            sys.executable,
            [sys.executable, "-c", code, *arguments],
            {**os.environ, **environment},
            file_actions=[(os.POSIX_SPAWN_DUP2, said.fileno(), 1), (os.POSIX_SPAWN_DUP2, said.fileno(), 2)],
        )
        _, status, used = os.wait4(pid, 0)
        said.seek(0)
        lines = [line for line in said.read().decode().splitlines() if line.strip()]
    peak = float(lines.pop())
    if len(lines) > 1 and "CAPFALL_MAIL_HOST" in lines[-1]:
        lines.pop()
    spent = used.ru_utime + used.ru_stime
    return Ran(spent, time.monotonic() - begun, peak, os.waitstatus_to_exitcode(status), lines[-1].strip())


@contextmanager
def database(folder: Path) -> Iterator[str]:
    """Of this run alone."""
    server = os.environ.get("CAPFALL_TEST_POSTGRES")
    if not server:
        yield f"sqlite:///{folder / 'many.db'}"
        return
    schema = f"capfall_many_{uuid.uuid4().hex}"
    address = make_url(server).set(drivername="postgresql+psycopg")
    admin = create_engine(address)
    with admin.begin() as connection:
        connection.execute(text(f"CREATE SCHEMA {schema}"))
    try:
        own = address.update_query_dict({"options": f"-csearch_path={schema}"})
        yield own.set(drivername="postgresql").render_as_string(hide_password=False)
    finally:
        with admin.begin() as connection:
            connection.execute(text(f"DROP SCHEMA {schema} CASCADE"))
        admin.dispose()


def measure(stations: int, years: int, vineyards: int) -> list[list[str]]:
    """The rows of the table."""
    rows = []

    def told(name: str, count: int, what: str, ran: Ran) -> None:
        rate = f"{count / ran.processor_s:,.1f}"
        numbers = [f"{ran.processor_s:,.0f}", f"{ran.clock_s:,.0f}", rate, f"{ran.peak_mb:,.0f}"]
        rows.append([name, f"{count:,} {what}", *numbers, str(ran.exit_code), ran.last_line])
        print(rows[-1], flush=True)

    with tempfile.TemporaryDirectory() as name, database(Path(name)) as url:
        at_noon = f"Etc/GMT{clock.now().hour - 12:+d}"  # news are due from 5 o'clock on
        environment = {"CAPFALL_DATABASE_URL": url, "TZ": at_noon}
        folder = Path(name) / "stations"
        folder.mkdir()
        days = write_stations(folder, stations, years)
        for again in ("", ", again"):
            ran = run("import-stations", str(folder), environment=environment)
            told(f"`import-stations`, {stations} stations x {years} years{again}", days, "days", ran)
        store = Store(url)
        plant(store, vineyards, years)
        store.close()
        told(
            f"`run-all`, {vineyards} vineyards",
            vineyards,
            "vineyards",
            run("run-all", environment=environment),
        )
    return rows


def main() -> None:
    """Run all, and write the page."""
    use_one_thread()
    asked = [int(each) for each in sys.argv[1:]]
    stations, years, vineyards = [*asked, *(STATIONS, YEARS, VINEYARDS)[len(asked) :]]
    rows = measure(stations, years, vineyards)
    on = "PostgreSQL" if os.environ.get("CAPFALL_TEST_POSTGRES") else "SQLite"
    columns = [
        "command",
        "what",
        "processor time [s]",
        "by the clock [s]",
        "a second of processor",
        "memory [MB]",
    ]
    write_page(
        "many.md",
        "# Many stations and vineyards",
        f"`python -m tests.benchmarks.many {stations} {years} {vineyards}` on {on}. {made_on()}",
        table([*columns, "exit code", "last line"], rows),
        "Processor time is that of the command and its processes, without the database server's. Memory is the most "
        "that one process had.",
    )


if __name__ == "__main__":
    main()
