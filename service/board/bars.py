"""Every block's bloom as a bar: what is drawn where, and the same in words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from models.bloom.forecast import BlockForecast, StageForecast, Status
from models.records import Block, Cultivar, FlowerType, Visit
from models.stages import BLOOM_STAGES
from models.vineyard.uncovered import DailyChance
from service.board.charts import Column
from service.board.time_axis import ONE_DAY, TimeAxis
from service.words.forecast import bare_status, short_stage, status_words, what_is_special, why_no_window
from service.words.language import N_, _
from service.words.plain import date_and_interval, in_words, listed, percent, short_date, to
from service.words.scouting import visit_words

LETTER = 1.8  # how wide one of the dates' letters is on a phone [%]
LEAST_COLUMN = 0.05
LEAST_PEAK = 0.1  # less than half of what a warning is given from
NOTED: tuple[Status, ...] = ("overdue", "presumed", "unlikely")


@dataclass(frozen=True)
class Stretch:
    """Part of a picture's width, and what it says. [%]"""

    x: float
    width: float
    text: str = ""


@dataclass(frozen=True)
class Mark:
    """One day in a picture, and what it says. [%]"""

    x: float
    text: str


@dataclass(frozen=True)
class StageLine:
    """One line of the table of numbers."""

    stage: str
    said: str
    told: StageForecast


@dataclass(frozen=True)
class Dates:
    """What stands above a bar: from ``x`` on, or up to it. [%]"""

    text: str
    x: float
    up_to: bool


@dataclass(frozen=True)
class Drawn:
    """What is drawn of a block's bloom.

    ``bloom`` runs from the median of the first stage to that of the last, ``bands`` are the intervals of the two,
    ``full`` is full bloom's median, and ``seen`` are the observed stages. ``dates`` stand above it: from its start on,
    or up to its end, wherever they fit.
    """

    bloom: Stretch
    bands: tuple[Stretch, ...]
    full: Mark | None
    seen: tuple[Mark, ...]
    dates: Dates


@dataclass(frozen=True)
class Bar:
    """One block's bloom in a picture.

    Attributes
    ----------
    role : str
        What its flowers do for pollen, as in "pistillate" or "pollen source".
    window : str
        From start to end in words; why there is none, where the bloom is not forecast.
    notes : tuple of str
        What is not simply expected.
    drawn : Drawn or None
        None without a forecast.
    visits : tuple of Mark
        Looks at the block.
    caution : str or None
        What is special about its forecast.
    """

    block: str
    cultivar: str
    role: str
    window: str
    notes: tuple[str, ...]
    stages: tuple[StageLine, ...]
    drawn: Drawn | None = None
    visits: tuple[Mark, ...] = ()
    caution: str | None = None

    @property
    def told(self) -> str:
        """The bar in one sentence, for those who don't see it."""
        role = role_words(self.role)
        return "; ".join([f"{self.block}, {self.cultivar}, {role}: {self.window}", *self.notes])


ROLES = {
    "pistillate": N_("pistillate"),
    "pollen source": N_("pollen source"),
    "pollen not viable": N_("pollen not viable"),
}


def role_words(role: str) -> str:
    """What a block's flowers do for pollen."""
    return _(ROLES[role])


def role_of(cultivar: Cultivar) -> str:
    """What a block of the cultivar is, as to pollen."""
    if cultivar.flower_type is FlowerType.PISTILLATE:
        return "pistillate"
    return "pollen source" if cultivar.viable_pollen else "pollen not viable"


def shown_days(blocks: Sequence[BlockForecast]) -> Iterator[dt.date]:
    """All days of bloom that a picture of the season has to show."""
    for block in blocks:
        for stage in _bloom_stages(block):
            told = stage[1]
            yield from (day for day in (told.low, told.median, told.high) if day is not None)


def bar(
    block: Block,
    cultivar: Cultivar,
    found: BlockForecast,
    axis: TimeAxis | None,
    visits: Sequence[Visit],
) -> Bar:
    """The bar of one block; ``visits`` are looks at it this season."""
    stages = _bloom_stages(found)
    return Bar(
        block=block.key,
        cultivar=cultivar.name,
        role=role_of(cultivar),
        window=_window(found, stages),
        notes=tuple(_notes(stages)),
        stages=tuple(
            StageLine(stage, status_words(stage, told), told) for stage, told in found.stages.items()
        ),
        visits=tuple(_visit_marks(visits, axis)) if axis is not None else (),
        caution=what_is_special(found),
        drawn=_drawn(stages, axis) if axis is not None and stages else None,
    )


def _bloom_stages(found: BlockForecast) -> list[tuple[str, StageForecast]]:
    """The bloom stages that have a date."""
    return [
        (stage, told)
        for stage in BLOOM_STAGES
        if (told := found.stages.get(stage)) is not None and told.median is not None
    ]


def _window(found: BlockForecast, stages: Sequence[tuple[str, StageForecast]]) -> str:
    if not stages:
        return why_no_window(found)
    days = [told.median for _, told in stages if told.median is not None]
    first, last = in_words(days[0]), in_words(days[-1])
    if stages[-1][0] != "bloom_end" and "bloom_end" in found.stages:
        return _("{first} to after the season's end", first=first)
    return first if len(days) == 1 else to(first, last)


def _notes(stages: Sequence[tuple[str, StageForecast]]) -> Iterator[str]:
    for stage, told in stages:
        if told.first_look is not None:
            yield status_words(stage, told)
        elif told.status == "observed" and told.median is not None:
            yield _seen(stage, told.median)
    for status in NOTED:
        alike = [short_stage(stage) for stage, told in stages if told.status == status]
        if alike:
            yield _("{stages} {status}", stages=listed(alike), status=bare_status(status))


def _seen(stage: str, day: dt.date) -> str:
    return _("{stage} seen {date}", stage=short_stage(stage), date=in_words(day))


def _drawn(stages: Sequence[tuple[str, StageForecast]], axis: TimeAxis) -> Drawn:
    spans = [_Span.of(told, axis) for _, told in stages]
    first, last = spans[0], spans[-1]
    full = next((told.median for stage, told in stages if stage == "full_bloom"), None)
    bloom = _stretch(axis, first.median, last.median)
    return Drawn(
        bloom=bloom,
        dates=_dates(" – ".join(dict.fromkeys(_date(told) for told in (stages[0][1], stages[-1][1]))), bloom),
        bands=tuple(_stretch(axis, span.low, span.high) for span in dict.fromkeys((first, last))),
        full=None if full is None else Mark(axis.noon(full), f"{short_stage('full_bloom')} {in_words(full)}"),
        seen=tuple(
            Mark(axis.noon(told.median), _seen(stage, told.median))
            for stage, told in stages
            if told.status == "observed" and told.first_look is None and told.median is not None
        ),
    )


def _dates(text: str, bloom: Stretch) -> Dates:
    room, end = LETTER * len(text), bloom.x + bloom.width
    if bloom.x + room <= 100:
        return Dates(text, bloom.x, up_to=False)
    return Dates(text, end, up_to=True) if end >= room else Dates(text, 100.0, up_to=True)


def _date(told: StageForecast) -> str:
    assert told.median is not None
    if told.status == "observed" and told.first_look is None:
        return _("{date} seen", date=short_date(told.median))
    return date_and_interval(told.median, told.low, told.high)


@dataclass(frozen=True)
class _Span:
    low: dt.date
    median: dt.date
    high: dt.date

    @classmethod
    def of(cls, told: StageForecast, axis: TimeAxis) -> _Span:
        """An interval that ends after the season runs to the end of the picture."""
        assert told.median is not None
        return cls(told.low or told.median, told.median, told.high or axis.last)


def _stretch(axis: TimeAxis, first: dt.date, last: dt.date) -> Stretch:
    x = axis.morning(first)
    return Stretch(x, axis.morning(last + ONE_DAY) - x)


def strip(axis: TimeAxis, chance: DailyChance | None) -> tuple[Column, ...]:
    """The chance of flowers without pollen, a column a day; what lies outside the picture is not drawn."""
    days = () if chance is None or max(chance.chances) < LEAST_PEAK else enumerate(chance.chances)
    return tuple(
        Column(axis.morning(day), 100 / axis.days, 100 * share, f"{short_date(day)}: {percent(share)}")
        for index, share in days
        if chance is not None
        and share >= LEAST_COLUMN
        and axis.shows(day := chance.first_day + index * ONE_DAY)
    )


def _visit_marks(visits: Sequence[Visit], axis: TimeAxis) -> Iterator[Mark]:
    for visit in visits:
        if axis.shows(visit.date):
            yield Mark(axis.noon(visit.date), f"{in_words(visit.date)}: {visit_words(visit)}")
