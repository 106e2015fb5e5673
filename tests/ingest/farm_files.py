"""Sixty files as farms keep them, from a seeded generator that knows the truth behind each.

They were written from how such tables look, not from what the readers take: exports of gauges and of farm software,
sheets filled in by hand, notebooks typed up later. Some can't be read without a guess. What must become of a file is
said beside its style: ``right``, or ``open`` where it may be refused or taken in part as long as the sender is told.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from tests.ingest.messy import BLOCKS, Kind, MessyFile

SEED = 20_261_126
EACH = 4
START = dt.date(2025, 4, 3)
Days = dict[dt.date, tuple[float, float]]
Made = tuple[str | bytes, dict[str, str], dict[Any, Any]]
Bloom = dict[tuple[int, str, str], tuple[dt.date, int]]
STAGES = ("bloom_start", "full_bloom", "bloom_end")


def days_of(random: np.random.Generator, count: int = 40) -> Days:
    """Daily extremes of a spring, in tenths. [°C]"""
    lows = np.round(8 + 6 * np.sin(np.arange(count) / 9) + random.normal(0, 2, count), 1)
    return {
        START + dt.timedelta(days=day): (float(low), round(float(low) + float(random.uniform(6, 14)), 1))
        for day, low in enumerate(lows)
    }


def whole_fahrenheit(days: Days) -> Days:
    """As a gauge in whole °F would have them. [°C]"""
    return {day: (round(low * 1.8) / 1.8, round(high * 1.8) / 1.8) for day, (low, high) in days.items()}


def f(celsius: float) -> int:
    return round(celsius * 1.8 + 32)


def bloom_of(random: np.random.Generator) -> Bloom:
    seen: Bloom = {}
    for season in (2023, 2024, 2025):
        for block in BLOCKS:
            first = dt.date(season, 5, 20) + dt.timedelta(days=int(random.integers(0, 12)))
            for place, stage in enumerate(STAGES):
                seen[season, block, stage] = (first + dt.timedelta(days=5 * place), 1)
    return seen


def by_row(seen: Bloom) -> Iterator[tuple[int, str, list[dt.date]]]:
    for season, block in dict.fromkeys((season, block) for season, block, _ in seen):
        yield season, block, [seen[season, block, stage][0] for stage in STAGES]


def gauge_export(random: np.random.Generator) -> Made:
    """Software of a rain gauge: US dates, °F in the header, columns that nobody asked for."""
    truth = whole_fahrenheit(days_of(random))
    rows = [
        f'"{day:%m/%d/%Y}","{f(high)}","{f(low)}","{random.uniform(0, 1):.2f}","SSW"'
        for day, (low, high) in truth.items()
    ]
    head = '"Date","Max Temp (°F)","Min Temp (°F)","Rain (in)","Wind Dir"'
    return "\r\n".join([head, *rows]) + "\r\n", {"date_format": "%m/%d/%Y"}, dict(truth)


def monthly_summary_below(random: np.random.Generator) -> Made:
    """A table with a line of means below it."""
    truth = days_of(random)
    lows, highs = zip(*truth.values(), strict=True)
    rows = [f"{day},{low},{high}" for day, (low, high) in truth.items()]
    rows += ["", f"Average,{np.mean(lows):.1f},{np.mean(highs):.1f}"]
    return "\n".join(["date,tmin_c,tmax_c", *rows]), {}, dict(truth)


def year_month_day(random: np.random.Generator) -> Made:
    """Year, month and day in columns of their own."""
    truth = days_of(random)
    rows = [f"{day.year},{day.month},{day.day},{low},{high}" for day, (low, high) in truth.items()]
    return "\n".join(["Year,Month,Day,TMIN,TMAX", *rows]), {"unit": "C"}, dict(truth)


def logger_dump(random: np.random.Generator) -> Made:
    """A logger's own head above the table; semicolons and decimal commas."""
    truth = days_of(random)
    head = ["Logger;HV-2", "Serial;00417", "Site;Lower field", ""]
    rows = [
        f"{day:%d.%m.%Y};{str(low).replace('.', ',')};{str(high).replace('.', ',')}"
        for day, (low, high) in truth.items()
    ]
    text = "\n".join([*head, "Datum;Tmin (°C);Tmax (°C)".replace("Datum", "Date"), *rows])
    return text.encode("utf-8-sig"), {"date_format": "%d.%m.%Y"}, dict(truth)


def degrees_in_cells(random: np.random.Generator) -> Made:
    """The degree sign behind each value."""
    truth = days_of(random)
    rows = [f"{day},{low}°C,{high}°C" for day, (low, high) in truth.items()]
    return "\n".join(["date,min,max", *rows]), {"unit": "C"}, dict(truth)


def max_before_min(random: np.random.Generator) -> Made:
    """The two columns the other way round, with a mean between."""
    truth = days_of(random)
    rows = [f"{day},{high},{(low + high) / 2:.2f},{low}" for day, (low, high) in truth.items()]
    return "\n".join(["Date,High (C),Mean (C),Low (C)", *rows]), {}, dict(truth)


def month_matrix(random: np.random.Generator) -> Made:
    """A wall calendar: days down, months across, maximum/minimum in one cell."""
    truth = days_of(random)
    rows = [f"{day.day},{high:.0f}/{low:.0f}" for day, (low, high) in truth.items()]
    return "\n".join(["Day,April", *rows]), {"unit": "C"}, dict(truth)


def no_year(random: np.random.Generator) -> Made:
    """Day and month only, of temperatures: the year stands in the file's name."""
    truth = days_of(random)
    rows = [f"{day:%m/%d},{low},{high}" for day, (low, high) in truth.items()]
    return "\n".join(["date,tmin_c,tmax_c", *rows]), {"date_format": "%m/%d"}, dict(truth)


def spring_log(random: np.random.Generator) -> Made:
    """Year and block, dates as 28-May."""
    truth = bloom_of(random)
    rows = [
        f"{season},{block},{','.join(f'{day:%d-%b}' for day in dates)}"
        for season, block, dates in by_row(truth)
    ]
    head = "Year,Block,Bloom Start,Full Bloom,Bloom End"
    return "\n".join([head, *rows]), {"date_format": "%d-%b"}, dict(truth)


def ranges_for_dates(random: np.random.Generator) -> Made:
    """Some stages as a range of days."""
    truth = bloom_of(random)
    rows = []
    for season, block, dates in by_row(truth):
        cells = [str(day) for day in dates]
        if random.random() < 0.3:
            cells[1] = f"{cells[1]} - {dates[1].day + 2}"
        rows.append(f"{season},{block},{','.join(cells)}")
    rows[0] = f"2023,row-1,{truth[2023, 'row-1', 'bloom_start'][0]}-{truth[2023, 'row-1', 'full_bloom'][0]},,"
    return "\n".join(["season,block,bloom_start,full_bloom,bloom_end", *rows]), {}, dict(truth)


def question_marks(random: np.random.Generator) -> Made:
    """Doubt, and looks that nobody made, in words."""
    truth = bloom_of(random)
    rows = []
    for season, block, dates in by_row(truth):
        cells = [str(day) for day in dates]
        place = int(random.integers(3))
        cells[place] = str(random.choice([cells[place] + "?", "missed", "?", "n/a"]))
        rows.append(f"{season},{block},{','.join(cells)}")
    return "\n".join(["season,block,bloom_start,full_bloom,bloom_end", *rows]), {}, dict(truth)


def season_once(random: np.random.Generator) -> Made:
    """The season stands in the first of its lines only, as in a sheet with merged cells."""
    truth = bloom_of(random)
    rows, last = [], 0
    for season, block, dates in by_row(truth):
        rows.append(f"{season if season != last else ''},{block},{','.join(map(str, dates))}")
        last = season
    return "\n".join(["season,block,bloom_start,full_bloom,bloom_end", *rows]), {}, dict(truth)


def visits_of(random: np.random.Generator) -> dict[tuple[dt.date, str, str], float]:
    seen = {}
    for block in BLOCKS:
        percent = 0.0
        for look in range(4):
            day = dt.date(2026, 5, 22) + dt.timedelta(days=4 * look + int(random.integers(0, 2)))
            percent = min(100.0, percent + float(random.integers(0, 45)))
            seen[day, block, ""] = percent
    return seen


def notebook(random: np.random.Generator) -> Made:
    """Percentages as people write them."""
    seen = visits_of(random)
    forms = ("{:g}%", "{:g} %", "~{:g}", "ca. {:g}", "{:g}")
    rows = [
        f"{day},{block},{str(random.choice(forms)).format(percent)}"
        for (day, block, _), percent in seen.items()
    ]
    truth = {key: (percent, percent) for key, percent in seen.items()}
    return "\n".join(["Date,Block,% open", *rows]), {}, truth


def time_beside_day(random: np.random.Generator) -> Made:
    """A phone's form: day and time of day in one cell."""
    seen = visits_of(random)
    rows = [
        f"{day} {int(random.integers(7, 18)):02}:{int(random.integers(60)):02},{block},{percent:g}"
        for (day, block, _), percent in seen.items()
    ]
    truth = {key: (percent, percent) for key, percent in seen.items()}
    return "\n".join(["date,block,percent_open", *rows]), {}, truth


def words_for_shares(random: np.random.Generator) -> Made:
    """None, half, all."""
    seen = visits_of(random)
    said = {0.0: "none", 50.0: "half", 100.0: "all"}
    seen = {key: (0.0, 50.0, 100.0)[int(random.integers(3))] for key in seen}
    rows = [f"{day},{block},{said[percent]}" for (day, block, _), percent in seen.items()]
    return (
        "\n".join(["date,block,percent_open", *rows]),
        {},
        {key: (each, each) for key, each in seen.items()},
    )


Place = tuple[str, float, float, int]


def planting_of(random: np.random.Generator) -> dict[str, Place]:
    return {
        block: (
            name.lower().replace(" ", "-"),
            6.0 * place,
            float(random.integers(0, 9)),
            int(random.integers(2, 40)),
        )
        for place, (block, (name, _)) in enumerate(BLOCKS.items())
    }


def planting_in_feet(random: np.random.Generator) -> Made:
    """Feet, and flower types as a nursery's list has them."""
    words = {"perfect": "Self-Fertile", "pistillate": "FEMALE"}
    truth, rows = {}, []
    for block, (key, _, _, vines) in planting_of(random).items():
        name, flower = BLOCKS[block]
        x, y = int(random.integers(0, 300)), int(random.integers(0, 300))
        truth[block] = (key, x * 0.3048, y * 0.3048, vines)
        rows.append(f"{block.replace('-', ' ').title()}\t{name}\t{words[flower]}\t{x}\t{y}\t{vines}")
    return "\n".join(["Block\tVariety\tFlower\tX (ft)\tY (ft)\tVine count", *rows]), {}, truth


def thousands(random: np.random.Generator) -> Made:
    """Counts with a separator of thousands."""
    truth, rows = {}, []
    for block, (key, x, y, _) in planting_of(random).items():
        name, flower = BLOCKS[block]
        vines = int(random.integers(1000, 9000))
        truth[block] = (key, x, y, vines)
        rows.append(f'{block},{name},{flower},{x},{y},"{vines:,}"')
    return "\n".join(["block,cultivar,flower_type,x_m,y_m,vines", *rows]), {}, truth


STYLES: tuple[tuple[Callable[[np.random.Generator], Made], Kind, str], ...] = (
    (gauge_export, "temperatures", "right"),
    (monthly_summary_below, "temperatures", "open"),
    (year_month_day, "temperatures", "open"),
    (logger_dump, "temperatures", "right"),
    (degrees_in_cells, "temperatures", "open"),
    (max_before_min, "temperatures", "right"),
    (month_matrix, "temperatures", "open"),
    (no_year, "temperatures", "open"),
    (spring_log, "bloom_log", "right"),
    (ranges_for_dates, "bloom_log", "open"),
    (question_marks, "bloom_log", "open"),
    (season_once, "bloom_log", "open"),
    (notebook, "visits", "right"),
    (time_beside_day, "visits", "open"),
    (words_for_shares, "visits", "open"),
    (planting_in_feet, "planting", "right"),
    (thousands, "planting", "open"),
)


def farm_files() -> Iterator[tuple[str, str, MessyFile]]:
    """Style, what must become of it, and the file; at least sixty."""
    for number, (style, kind, must) in enumerate(STYLES):
        for copy in range(EACH):
            data, query, truth = style(np.random.default_rng([SEED, number, copy]))
            content = data if isinstance(data, bytes) else data.encode()
            yield style.__name__, must, MessyFile(kind, content, query, truth, [style.__name__])
