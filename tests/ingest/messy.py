"""Two hundred messy files from a seeded generator that knows the truth behind each of them.

A file is written from its truth in some manner in which people write such files (delimiter, encoding, titles, units,
form of dates, workbook, hours, long form, marks, ...). Some also get a fault that no reader can mend; it says what must
become of the file.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from tests.ingest.workbooks import workbook

Kind = Literal["temperatures", "planting", "bloom_log", "visits"]
Fate = Literal["right", "refused", "told"]
Cells = list[list[Any]]

SEED = 20_260_520
TODAY = dt.date(2026, 6, 10)
BLOCKS = {
    "row-1": ("Wren Anvil", "perfect"),
    "row-2": ("Lantern Hush", "pistillate"),
    "row-3": ("Tallow Moth", "perfect"),
}
STAGES = ("bloom_start", "full_bloom", "bloom_end")
DATE_FORMS = (None, "%d/%m/%Y", "%m/%d/%Y", "%d.%m.%Y", "%d %b %Y", "%Y%m%d", "%m/%d/%y", "%Y-%j")
SHORT_FORMS = ("%m/%d", "%d/%m", "%d %b", "%j")


@dataclass
class MessyFile:
    """A file, the query it is sent with, the truth that it was written from, and what must become of it.

    ``truth`` maps a key (day; block; season, block and stage; day, block and observer) to values. ``told`` are words of
    which one must stand in the warnings.
    """

    kind: Kind
    data: bytes
    query: dict[str, str]
    truth: dict[Any, Any]
    messes: list[str]
    fate: Fate = "right"
    told: tuple[str, ...] = ()


@dataclass
class Maker:
    """Draws one file."""

    random: np.random.Generator
    messes: list[str] = field(default_factory=list)
    query: dict[str, str] = field(default_factory=dict)
    fate: Fate = "right"
    told: list[str] = field(default_factory=list)

    def one_of(self, choices: Sequence[Any]) -> Any:
        """One of the choices, noted where it is a mess by name."""
        return choices[int(self.random.integers(len(choices)))]

    def maybe(self, name: str, chance: float) -> bool:
        """Whether this mess is in the file."""
        if self.random.random() < chance:
            self.messes.append(name)
            return True
        return False

    def fault(self, name: str, fate: Fate, *told: str) -> None:
        """Note a fault and what must become of the file."""
        self.messes.append(f"FAULT {name}")
        self.fate = fate
        self.told += told

    def date_form(self, forms: Sequence[str | None]) -> str | None:
        """A date form, passed with the file."""
        form: str | None = self.one_of(forms)
        if form is not None:
            self.messes.append(f"dates as {form}")
            self.query["date_format"] = form
        return form

    def file(self, header: list[str], rows: Cells, *, units: list[str] | None = None) -> bytes:
        """Header and rows as bytes, with titles above and in some encoding, or as a workbook."""
        order = (
            self.random.permutation(len(header))
            if self.maybe("columns in another order", 0.5)
            else range(len(header))
        )
        header = [header[place] for place in order]
        rows = [[row[place] for place in order] for row in rows]
        units = None if units is None else [units[place] for place in order]
        above: Cells = []
        if self.maybe("titles above", 0.35):
            above += [["Hollow vineyard"], [], [f"made on {TODAY}"]][: int(self.random.integers(1, 4))]
        if units is not None and self.maybe("unit line above", 0.3):
            above.append(units)
            units = None
        body = [*above, header, *([units] if units is not None else []), *rows]
        if self.maybe("blank lines between", 0.2):
            body.insert(len(body) - len(rows) // 2, [])
        if self.maybe("workbook", 0.25):
            sheets: dict[str, Cells] = {"data": body}
            if self.maybe("a sheet of notes", 0.4):
                sheets = {"notes": [["ask me"], ["or not"]], **sheets}
            return workbook(sheets)
        delimiter = self.one_of(",,;\t")
        comma = delimiter == ";" and self.maybe("decimal commas", 0.7)
        text = io.StringIO()
        writer = csv.writer(
            text, delimiter=delimiter, lineterminator=self.one_of(("\n", "\r\n", "\r")),
            quoting=csv.QUOTE_ALL if self.maybe("all quoted", 0.2) else csv.QUOTE_MINIMAL)  # fmt: skip
        for row in body:
            writer.writerow([_cell(value, comma=comma) for value in row])
        return text.getvalue().encode(self.one_of(("utf-8", "utf-8", "utf-8-sig", "utf-16")))


def _cell(value: Any, *, comma: bool) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        text = f"{value:g}"
        return text.replace(".", ",") if comma else text
    return str(value)


def _day(day: dt.date, form: str | None) -> str:
    return day.isoformat() if form is None else day.strftime(form)


def temperatures(make: Maker) -> MessyFile:
    """Forty days and more, daily or hourly."""
    first = dt.date(2025, 4, 20) + dt.timedelta(days=int(make.random.integers(30)))
    days = [first + dt.timedelta(days=each) for each in range(int(make.random.integers(40, 60)))]
    truth: dict[dt.date, tuple[float, float] | None] = {}
    for number, day in enumerate(days):
        low = round(float(8 + number / 6 + make.random.normal(0, 2.5)), 1)
        truth[day] = (low, round(low + float(make.random.uniform(6, 16)), 1))
    unit = make.one_of(("C", "C", "F", "tenths_C"))
    form = make.date_form(DATE_FORMS)
    if make.maybe("hourly", 0.2):
        return _hourly(make, days[:6], unit, form)
    for day in days:
        if make.random.random() < 0.04:
            truth[day] = None
            make.messes.append("missing")
    code = (
        make.one_of((None, "NA", "-9999", "M", "-999"))
        if unit != "tenths_C"
        else make.one_of((None, "-9999"))
    )
    rows: Cells = []
    for day, pair in truth.items():
        values = [code, code] if pair is None else [_in(unit, value) for value in pair]
        rows.append([_day(day, form), *values, "fine"])
    if make.maybe("marks behind values", 0.2):
        for row in rows[::7]:
            row[2] = row[2] if row[2] == code else f"{row[2]:g}*"
    if make.maybe("row sent twice", 0.2):
        rows.append(list(rows[3]))
    header, units = _temperature_header(make, unit)
    sent_unit = unit
    roll = make.random.random() * 1.5
    known = [
        place
        for place, row in enumerate(rows)
        if row[1] != code and row[2] != code and "*" not in f"{row[2]}"
    ]
    spot = known[len(known) // 2]
    if roll < 0.05:
        make.fault("one date with two values", "refused", "given with different values")
        rows.append([rows[spot][0], rows[spot][1], rows[spot][2] + 3, "fine"])
    elif roll < 0.10:
        make.fault("text for a number", "refused", "'warm' is not a number")
        rows[spot][1] = "warm"
    elif roll < 0.15:
        make.fault("no such day", "refused", "31/02/2025", "'99'", "2019-02-31", "31 February", "'soon'")
        rows[spot][0] = "31/02/2025" if form is None else "99"
    elif roll < 0.20:
        make.fault("a day to come", "refused", "still to come", "does not lie in season")
        rows.append([_day(TODAY + dt.timedelta(days=9), form), *rows[spot][1:]])
    elif roll < 0.25 and form not in ("%m/%d/%y",):
        make.fault("a day of 1926", "refused", "1926-05-01 lies more than 20 years", "confirm=dates")
        rows.append([_day(dt.date(1926, 5, 1), form), *rows[spot][1:]])
    elif roll < 0.30 and form in ("%d/%m/%Y", "%m/%d/%Y"):
        make.fault("dates without their form", "refused", "date_format=")
        del make.query["date_format"]
    elif roll < 0.35 and form in ("%d/%m/%Y", "%m/%d/%Y"):
        make.fault("dates with the other form", "refused", "is not a date of the form")
        make.query["date_format"] = "%m/%d/%Y" if form == "%d/%m/%Y" else "%d/%m/%Y"
    elif roll < 0.42 and "unit" in make.query:
        make.fault("another unit", "refused", "confirm=units")
        sent_unit = make.one_of([each for each in ("C", "F", "tenths_C") if each != unit])
        make.query["unit"] = sent_unit
    elif roll < 0.47:
        make.fault("minimum above maximum in one row", "told", "Tmin above Tmax")
        rows[spot][1], rows[spot][2] = rows[spot][2], rows[spot][1]
        truth[days[spot]] = None
    elif roll < 0.52:
        make.fault(
            "a row cut short by a total", "refused", "'Total' is not a date", "'3 pages' is not a number"
        )
        rows.append(["Total", None, "3 pages", "fine"])
    elif roll < 0.56:
        make.fault("a stuck sensor", "told", "never change")
        for place in range(10, 16):
            rows[place][1:3] = [_in(unit, 11.0), _in(unit, 24.0)]
            truth[days[place]] = (11.0, 24.0)
    return MessyFile("temperatures", make.file(header, rows, units=units), make.query, dict(truth), make.messes,
                     make.fate, tuple(make.told))  # fmt: skip


def _in(unit: str, value_c: float) -> float:
    if unit == "F":
        return round(value_c * 1.8 + 32, 1)
    return float(round(value_c * 10)) if unit == "tenths_C" else value_c


def _temperature_header(make: Maker, unit: str) -> tuple[list[str], list[str] | None]:
    date = make.one_of(("date", "Date", "DAY", "Observation date"))
    sign = {"C": "°C", "F": "°F", "tenths_C": "0.1 °C"}[unit]
    manner = make.one_of(("suffix", "brackets", "query", "unit line"))
    make.messes.append(f"unit by {manner}")
    if manner == "suffix" and unit != "tenths_C":
        return [date, f"tmin_{unit.lower()}", f"TMAX_{unit}", "remark"], None
    if manner == "brackets":
        return [date, f"Min temp ({sign})", f"Max temp ({sign})", "remark"], None
    if manner == "unit line":
        return [date, "Low", "High", "remark"], ["", sign, sign, ""]
    make.query["unit"] = unit
    return [date, "tn", "tx", "remark"], None


def _hourly(make: Maker, days: list[dt.date], unit: str, form: str | None) -> MessyFile:
    truth: dict[Any, Any] = {}
    rows: Cells = []
    apart = make.maybe("time in its own column", 0.5)
    short = int(make.random.integers(len(days)))
    for number, day in enumerate(days):
        hours = range(24) if number != short else range(7, 24)
        values = {hour: round(float(16 + 6 * np.cos((hour - 15) / 24 * 2 * np.pi) + make.random.normal(0, 1)), 1)
                  for hour in hours}  # fmt: skip
        truth[day] = None if number == short else (min(values.values()), max(values.values()))
        for hour, value in values.items():
            stamp = [_day(day, form), f"{hour:02}:00"] if apart else [f"{_day(day, form)} {hour:02}:00"]
            rows.append([*stamp, _in(unit, value)])
    sign = {"C": "°C", "F": "°F", "tenths_C": "0.1 °C"}[unit]
    header = [*(["date", "time"] if apart else ["timestamp"]), f"Temperature ({sign})"]
    make.told.append("hourly rows were read as daily extremes")
    make.fate = "told"
    return MessyFile(
        "temperatures", make.file(header, rows), make.query, truth, make.messes, make.fate, tuple(make.told)
    )


def planting(make: Maker) -> MessyFile:
    """Three blocks and more."""
    feet = make.maybe("in feet", 0.4)
    truth: dict[Any, Any] = {}
    rows: Cells = []
    types = {
        "perfect": ("perfect", "self-fertile", "Hermaphrodite"),
        "pistillate": ("pistillate", "female", "FEMALE"),
    }
    for block, (cultivar, flower) in BLOCKS.items():
        east, north = (round(float(make.random.uniform(0, 60)), 1) for _ in range(2))
        vines = int(make.random.integers(1, 90))
        name = block if make.random.random() < 0.5 else block.replace("-", " ").title()
        rows.append([name, cultivar, make.one_of(types[flower]), east, north, vines])
        scale = 0.3048 if feet else 1.0
        truth[block] = (cultivar.lower().replace(" ", "-"), east * scale, north * scale, vines)
    unit = "ft" if feet else "m"
    header = ["Block", make.one_of(("cultivar", "Variety")), make.one_of(("flower type", "Sex"))]
    header += [f"x ({unit})", f"y_{unit}", make.one_of(("vines", "vine count"))]
    roll = make.random.random() * 1.5
    if roll < 0.1:
        make.fault("one block with two places", "refused", "given with different values")
        rows.append([*rows[0][:3], rows[0][3] + 3, *rows[0][4:]])
    elif roll < 0.2:
        make.fault("odd flower type", "refused", "'shy' is not one of")
        rows[1][2] = "shy"
    elif roll < 0.3:
        make.fault("coordinates in two units", "refused", "are needed once each")
        header[3] = "x_m" if feet else "x_ft"
    elif roll < 0.4:
        make.fault("a cultivar with two flower types", "refused", "more than one flower_type")
        rows[2][1] = rows[1][1]
    return MessyFile("planting", make.file(header, rows), {}, truth, make.messes, make.fate, tuple(make.told))


def bloom_log(make: Maker) -> MessyFile:
    """Some seasons of three blocks, a row each or a row a date."""
    long = make.maybe("long form", 0.35)
    form = make.date_form((*DATE_FORMS, *SHORT_FORMS))
    every = int(make.random.integers(1, 5))
    truth: dict[Any, Any] = {}
    for season in range(2019, 2019 + int(make.random.integers(3, 7))):
        for block in BLOCKS:
            day = dt.date(season, 5, 8) + dt.timedelta(days=int(make.random.integers(16)))
            for stage in STAGES:
                if make.random.random() < 0.9:
                    truth[season, block, stage] = (day, every)
                day += dt.timedelta(days=int(make.random.integers(3, 9)))
    names = {
        "bloom_start": ("bloom_start", "Bloom start"),
        "full_bloom": ("full_bloom", "FULL BLOOM"),
        "bloom_end": ("bloom_end",),
    }
    stage_names = {stage: make.one_of(names[stage]) for stage in STAGES}
    asked = make.maybe("how often, in the query", 0.5)
    if asked:
        make.query["checked_every_days"] = str(every)
    check = [] if asked else [every]
    rows: Cells = []
    if long:
        header = ["season", "Block", "stage", "date", *([] if asked else ["checked_every_days"])]
        codes = {"bloom_start": "61", "full_bloom": "BBCH 65", "bloom_end": "69"}
        for (season, block, stage), (day, _) in truth.items():
            rows.append(
                [season, block, make.one_of((stage_names[stage], codes[stage])), _day(day, form), *check]
            )
    else:
        header = ["Year", "block", *stage_names.values(), *([] if asked else ["checked every days"])]
        for season, block in dict.fromkeys((season, block) for season, block, _ in truth):
            seen = [truth.get((season, block, stage)) for stage in STAGES]
            cells = [make.one_of((None, "NA", "-")) if each is None else _day(each[0], form) for each in seen]
            rows.append([season, block, *cells, *check])
    place = 3 if long else next(place for place in range(2, 5) if rows[0][place] not in (None, "NA", "-"))
    roll = make.random.random() * 1.5
    if roll < 0.08:
        make.fault("unknown block", "refused", "unknown block 'row-9'")
        rows[2][1] = "row-9"
    elif roll < 0.16:
        make.fault("no such day", "refused", "31/02/2025", "'99'", "2019-02-31", "31 February", "'soon'")
        rows[0][place] = "2019-02-31" if form is None else "soon"
    elif roll < 0.24 and form in DATE_FORMS:
        make.fault("another year than the season's", "refused", "2018-05-20 is not in season 2019")
        rows[0][place] = _day(dt.date(2018, 5, 20), form)
    elif roll < 0.32 and form in ("%m/%d", "%d/%m", "%j", "%d/%m/%Y", "%m/%d/%Y"):
        make.fault("dates without their form", "refused", "date_format=")
        del make.query["date_format"]
    elif roll < 0.40:
        make.fault("one season twice with other dates", "refused", "given with different values")
        extra = list(rows[0])
        extra[place] = _day(dt.date(2019, 6, 29), form)
        rows.append(extra)
    elif roll < 0.48:
        make.fault("a season to come", "refused", "still to come")
        extra = list(rows[0])
        extra[0], extra[place] = 2027, _day(dt.date(2027, 5, 20), form)
        if not long:
            extra[2:5] = [cell if at == place else None for at, cell in enumerate(extra[2:5], start=2)]
        rows.append(extra)
    elif roll < 0.56 and asked:
        make.fault(
            "nothing of how often was looked", "told", "every day was assumed", "once a week", "twice a week"
        )
        del make.query["checked_every_days"]
        truth = {key: (day, 1) for key, (day, _) in truth.items()}
    return MessyFile(
        "bloom_log", make.file(header, rows), make.query, truth, make.messes, make.fate, tuple(make.told)
    )


def visits(make: Maker) -> MessyFile:
    """Looks at three blocks in one season."""
    form = make.date_form((*DATE_FORMS, *SHORT_FORMS))
    truth: dict[Any, Any] = {}
    rows: Cells = []
    taken = False
    for block in BLOCKS:
        percent = 0
        for number in range(int(make.random.integers(3, 8))):
            day = dt.date(2025, 5, 6) + dt.timedelta(days=4 * number + int(make.random.integers(3)))
            text, value = _percent(make, percent)
            taken = taken or "~" in text or "<" in text or "*" in text or ">" in text
            rows.append([2025, _day(day, form), block, text, None, make.one_of(("Ines", "")), ""])
            truth[day, block, rows[-1][5]] = value
            percent = min(percent + int(make.random.integers(0, 40)), 100)
    header = [
        "season",
        "Visit date",
        "block",
        make.one_of(("percent_open", "% open", "caps off (%)")),
        "bbch",
        "observer",
        "note",
    ]
    if taken:
        make.fate = "told"
        make.told.append("was taken for")
    roll = make.random.random() * 1.5
    if roll < 0.08:
        make.fault("above 100", "refused", "'140' is outside 0 to 100")
        rows[2][3] = "140"
    elif roll < 0.16:
        make.fault("a code that says otherwise", "refused", "bbch 57")
        rows[2][3], rows[2][4] = "90", "57"
    elif roll < 0.24:
        make.fault("a bound that does not tell the stage", "refused", "'<60' does not tell")
        rows[2][3] = "<60"
    elif roll < 0.32:
        make.fault("unknown block", "refused", "unknown block 'row-9'")
        rows[2][2] = "row-9"
    elif roll < 0.40 and form in DATE_FORMS:
        make.fault("a day to come", "refused", "still to come", "does not lie in season")
        rows[2][0], rows[2][1] = 2026, _day(TODAY + dt.timedelta(days=20), form)
    elif roll < 0.48:
        make.fault("neither percentage nor code", "refused", "neither percent_open nor bbch")
        rows[2][3] = None
    elif roll < 0.56:
        make.fault("shares of one", "told", "not as fraction")
        truth = {key: (low / 100, high / 100) for key, (low, high) in truth.items()}
        truth[list(truth)[-1]] = (0.5, 0.5)  # one that is no whole number for certain
        for row, (low, high) in zip(rows, truth.values(), strict=True):
            row[3] = f"{(low + high) / 2:g}"
        make.told = ["not as fraction"]
    return MessyFile(
        "visits", make.file(header, rows), make.query, truth, make.messes, make.fate, tuple(make.told)
    )


def _percent(make: Maker, percent: int) -> tuple[str, tuple[float, float]]:
    """How a share is written, and the range that it was meant to lie in."""
    manner = make.random.random()
    if manner < 0.15:
        return f"{percent} %", (percent, percent)
    if manner < 0.3:
        return f"~{percent}%", (percent, percent)
    if manner < 0.4:
        return f"{percent}*", (percent, percent)
    if manner < 0.5 and percent < 10:
        return "<10", (0.0, 10.0)
    if manner < 0.5 and percent > 95:
        return ">95", (95.0, 100.0)
    return f"{percent}", (percent, percent)


def files(count: int = 200) -> Iterator[MessyFile]:
    """That many files, always the same ones."""
    kinds = (temperatures, bloom_log, visits, temperatures, planting)
    for number in range(count):
        yield kinds[number % len(kinds)](Maker(np.random.default_rng([SEED, number])))
