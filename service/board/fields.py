"""Fields that forms for files share: units, ways to write dates, templates, and faults by file."""

from __future__ import annotations

import re
from collections.abc import Sequence

from fastapi import UploadFile

from models.errors import BadInput, Problem
from models.units import fahrenheit_steps_from_celsius_steps
from service.ingest.cells import number
from service.ingest.temperature_headers import TemperatureUnit
from service.web.edge_words import for_page
from service.web.units import Units
from service.words.language import N_, _, reading

TEMPLATE_FILES = {
    "temperatures.csv": "date,tmin_c,tmax_c\n2025-05-01,14.2,27.9\n2025-05-02,15.0,28.4\n",
    "outlook.csv": "date,tmin_c,tmax_c\n2026-05-20,16.1,29.0\n2026-05-21,16.8,29.4\n",
    "planting.csv": (
        "block,cultivar,flower_type,x_m,y_m,vines\n"
        "row-1,First Name,perfect,0,0,20\n"
        "row-2,Second Name,pistillate,6,0,40\n"
    ),
    "bloom_log.csv": (
        "season,block,bloom_start,full_bloom,bloom_end,checked_every_days\n"
        "2024,row-1,2024-05-18,2024-05-24,2024-06-01,3\n"
        "2024,row-2,2024-05-21,2024-05-26,2024-06-03,3\n"
    ),
    "visits.csv": "date,block,percent_open,observer,note\n2025-05-19,row-1,12,,\n2025-05-19,row-2,0,,not yet\n",
}
IN_US_UNITS = {
    "temperatures.csv": "date,tmin_f,tmax_f\n2025-05-01,57.6,82.2\n2025-05-02,59.0,83.1\n",
    "outlook.csv": "date,tmin_f,tmax_f\n2026-05-20,61.0,84.2\n2026-05-21,62.2,84.9\n",
    "planting.csv": (
        "block,cultivar,flower_type,x_ft,y_ft,vines\n"
        "row-1,First Name,perfect,0,0,20\n"
        "row-2,Second Name,pistillate,20,0,40\n"
    ),
}
UNITS: dict[str, TemperatureUnit | None] = {"headers": None, "C": "C", "F": "F", "tenths_C": "tenths_C"}
UNIT_CHOICES = [
    ("headers", N_("as the column headers say (tmin_c, tmax_f ...)")),
    ("C", "°C"),
    ("F", "°F"),
    ("tenths_C", N_("tenths of °C")),
]
DATES = {
    "iso": None,
    "day_first": "%d/%m/%Y",
    "month_first": "%m/%d/%Y",
    "day_month": "%d/%m",
    "month_day": "%m/%d",
    "day_of_year": "%j",
}
DATE_CHOICES = [
    ("iso", "2026-05-20"),
    ("day_first", N_("20/05/2026 (day first)")),
    ("month_first", N_("05/20/2026 (month first)")),
]
SEASON_DATE_CHOICES = [
    *DATE_CHOICES,
    ("day_month", N_("20/5, the year is the season's")),
    ("month_day", N_("5/20, the year is the season's")),
    ("day_of_year", N_("140, the day of the season's year")),
]
FILE_WORDS = {
    "temperatures": N_("Temperatures"),
    "outlook": N_("Outlook"),
    "planting": N_("Planting"),
    "bloom_log": N_("Bloom log"),
    "visits": N_("Visits"),
    "workbook": N_("Workbook"),
}


def template_file(name: str) -> str:
    """A file to fill in, in °F and feet where these are chosen."""
    return IN_US_UNITS.get(name, TEMPLATE_FILES[name]) if reading().us else TEMPLATE_FILES[name]


def content_of(file: UploadFile | None) -> bytes | None:
    """The content of a file field; None where no file was chosen."""
    return None if file is None or not file.filename else file.file.read()


def read_percent(text: str, *, where: str = "percent_open") -> float:
    """Per cent (of caps off) as they were typed in a field. Raises BadInput."""
    told = number(text.strip().removesuffix("%").strip())
    if not 0 <= told <= 100:
        problem = _("{number} is outside 0 to 100 per cent", number=f"{told:g}")
        raise BadInput(problem, [Problem(where, problem)])
    return told


def read_step(where: str, text: str, units: Units, bounds_c: tuple[float, float]) -> float | None:
    """A difference of temperatures as it was typed; None where nothing was. [°C] Raises BadInput."""
    if not text.strip():
        return None
    step_c = number(text.strip()) / (fahrenheit_steps_from_celsius_steps(1.0) if units == "us" else 1.0)
    low, high = bounds_c
    if not low <= step_c <= high:
        problem = _(
            "{step} °C is outside {low} to {high} °C", step=f"{step_c:g}", low=f"{low:g}", high=f"{high:g}"
        )
        raise BadInput(_("the difference cannot be right"), [Problem(where, problem)])
    return step_c


def doubted(problems: Sequence[Problem]) -> frozenset[str]:
    """The words by which what is refused can be confirmed: a page shows the box for these alone."""
    return frozenset(word for each in problems for word in re.findall(r"confirm=(\w+)", each.problem))


def by_file(problems: Sequence[Problem]) -> dict[str, list[tuple[str, str]]]:
    """Problems by the file or field that they are in, as (line or field, problem)."""
    found: dict[str, list[tuple[str, str]]] = {}
    for problem in problems:
        name, _, line = problem.where.partition(": ")
        found.setdefault(FILE_WORDS.get(name, N_("The form")), []).append(
            (line if name in FILE_WORDS else name, for_page(problem.problem))
        )
    return found


def length_unit(per_m: float) -> str:
    """Of a length of which so many make a metre."""
    return "m" if per_m == 1.0 else "ft"
