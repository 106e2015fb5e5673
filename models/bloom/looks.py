"""From bloom logs and visits to what is known of each stage's day: not yet on one day, come by another."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import fmean, median_low

from models.heat.season import season_of
from models.records import BloomLogRow, StageInterval, Visit
from models.stages import STAGE_KEYS, STAGES, Stage

# From 90 on BBCH codes tell of vines going dormant, when two seasons meet: they say nothing of this one's stages.
FIRST_DORMANT_BBCH = 90

# Season, cultivar and block (None where a whole cultivar was looked at), and with the stage.
Place = tuple[int, str, str | None]
StageOfPlace = tuple[int, str, str | None, str]


@dataclass(frozen=True)
class Look:
    """All visits of one day to one block: mean of the observers' caps off [%], middle of their BBCH codes.

    ``disputed`` are the stages that one observer saw come and another did not: the look says nothing of them.
    """

    date: dt.date
    percent_open: float | None
    bbch: int | None
    disputed: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Contradiction:
    """Visits of one block (or cultivar) and season that cannot all be right, in the order of their days."""

    season: int
    cultivar: str
    block: str | None
    visits: tuple[Visit, ...]


@dataclass(frozen=True)
class Disagreement:
    """Log and visits exclude each other on a stage; ``visits_count`` says which of them is taken."""

    logged: StageInterval
    visited: StageInterval
    visits_count: bool


def stage_intervals(
    log: Sequence[BloomLogRow], visits: Sequence[Visit], *, latitude: float
) -> tuple[StageInterval, ...]:
    """Between which days each block reached each stage.

    Parameters
    ----------
    log : sequence of BloomLogRow
        A date d of a block checked every n days means: after d - n, by d. Of two rows for one block and season
        the later in the sequence counts, stage by stage.
    visits : sequence of Visit
        Caps off decide on the bloom stages; BBCH codes on the other stages, and on bloom where no percentage
        was noted. Caps off above 0 also say that buds have broken.
    latitude : float
        Negative south of the equator; decides to which season a visit belongs. [degree]

    Returns
    -------
    tuple of StageInterval
        One a season, block (or cultivar) and stage, in this order; stages of which nothing is known are missing.

    Notes
    -----
    Caps don't go back on, so looks of one season should say "not yet" up to some day and "come" from then on.
    Where they contradict each other, the change that contradicts the fewest looks counts; where several do
    equally well, the interval holds them all, and it reaches one look further to either side that has one, as one
    more may be wrong. Where observers of one day disagree on a stage, the day says nothing of it. `contradictions`
    names those visits.

    Where log and visits speak of the same stage and agree, both hold. A log date that is the day of the visit
    that first saw the stage only repeats that visit, so then the visits' interval stands. Where they exclude
    each other, the visits count if they saw the stage come, having looked before and after; else the log does.
    """
    return _joined(_from_log(log), looks_by_place(visits, latitude=latitude))


def told_intervals(
    log: Sequence[BloomLogRow], visits: Sequence[Visit], *, latitude: float, day: dt.date
) -> tuple[StageInterval, ...]:
    """What log and visits had told by a day, if the log's blocks were looked at as it says.

    As `stage_intervals`, but visits after the day do not count, and a log date after it says "not yet" on that day,
    or on the last look before the date where that was earlier.
    """
    told = {
        key: seen
        if seen.by is not None and seen.by <= day
        else replace(seen, after=min(seen.after or day, day), by=None)
        for key, seen in _from_log(log).items()
    }
    made = [visit for visit in visits if visit.date <= day]
    return _joined(told, looks_by_place(made, latitude=latitude))


def _joined(
    logged: Mapping[StageOfPlace, StageInterval], looks: Mapping[Place, Sequence[Look]]
) -> tuple[StageInterval, ...]:
    known = dict(logged)
    for key, seen in _from_visits(looks).items():
        known[key] = _combined(logged[key], seen) if key in logged else seen
    return tuple(known[key] for key in sorted(known, key=_season_order))


def disagreements(
    log: Sequence[BloomLogRow], visits: Sequence[Visit], *, latitude: float
) -> tuple[Disagreement, ...]:
    """Stages on which log and visits exclude each other, as `stage_intervals` takes them."""
    logged, visited = _from_log(log), _from_visits(looks_by_place(visits, latitude=latitude))
    return tuple(
        Disagreement(logged[key], visited[key], visits_count=_visits_count(visited[key]))
        for key in sorted(logged.keys() & visited.keys(), key=_season_order)
        if _overlap(logged[key], visited[key]) is None
    )


def looks_by_place(visits: Sequence[Visit], *, latitude: float) -> dict[Place, tuple[Look, ...]]:
    """Looks at each block in each season, in the order of their days.

    Parameters
    ----------
    visits : sequence of Visit
    latitude : float
        Negative south of the equator. [degree]
    """
    by_day: dict[Place, dict[dt.date, list[Visit]]] = defaultdict(lambda: defaultdict(list))
    for visit in visits:
        place = (season_of(visit.date, latitude), visit.cultivar, visit.block)
        by_day[place][visit.date].append(visit)
    return {place: tuple(_look(date, days[date]) for date in sorted(days)) for place, days in by_day.items()}


def contradictions(visits: Sequence[Visit], *, latitude: float) -> tuple[Contradiction, ...]:
    """Visits that contradict each other, by season, cultivar and block.

    Of each stage these are the looks from the first that saw it come to the last that did not, and days on which
    observers disagree. A fall that crosses no stage, as from 60 to 55 %, is none.
    """
    found = []
    for place, looks in sorted(
        looks_by_place(visits, latitude=latitude).items(), key=lambda each: _place_order(each[0])
    ):
        days: set[dt.date] = set()
        for stage in STAGES:
            days |= {look.date for look in looks if stage.key in look.disputed}
            told = _told(stage, looks)
            first = next((day for day, come in told if come), None)
            last = next((day for day, come in reversed(told) if not come), None)
            if first is not None and last is not None and first < last:
                days |= {day for day, _ in told if first <= day <= last}
        if days:
            season, cultivar, block = place
            at_odds = [
                visit
                for visit in visits
                if visit.date in days and (visit.cultivar, visit.block) == (cultivar, block)
            ]
            at_odds.sort(key=lambda visit: (visit.date, visit.observer or ""))
            found.append(Contradiction(season, cultivar, block, tuple(at_odds)))
    return tuple(found)


def _told(stage: Stage, looks: Sequence[Look]) -> list[tuple[dt.date, bool]]:
    """Whether a stage had come, on each day that says so."""
    return [(look.date, come) for look in looks if (come := _has_come(stage, look)) is not None]


def _place_order(place: Place) -> tuple[int, str, str]:
    season, cultivar, block = place
    return season, cultivar, block or ""


def _look(date: dt.date, visits: Sequence[Visit]) -> Look:
    percents = [visit.percent_open for visit in visits if visit.percent_open is not None]
    codes = [visit.bbch for visit in visits if visit.bbch is not None and visit.bbch < FIRST_DORMANT_BBCH]
    # codes are ordinal, so they have a middle but no mean
    each = [Look(date, percent, None) for percent in percents] or [Look(date, None, code) for code in codes]
    disputed = [stage.key for stage in STAGES if {_has_come(stage, look) for look in each} >= {True, False}]
    return Look(
        date,
        fmean(percents) if percents else None,
        median_low(codes) if codes else None,
        frozenset(disputed),
    )


def _from_log(log: Sequence[BloomLogRow]) -> dict[StageOfPlace, StageInterval]:
    known: dict[StageOfPlace, StageInterval] = {}
    for row in log:
        between_checks = dt.timedelta(days=row.checked_every_days)
        for stage, date in row.dates.items():
            key = (row.season, row.cultivar, row.block, stage)
            known[key] = StageInterval(*key, after=date - between_checks, by=date)
    return known


def _from_visits(looks: Mapping[Place, Sequence[Look]]) -> dict[StageOfPlace, StageInterval]:
    known: dict[StageOfPlace, StageInterval] = {}
    for place, of_place in looks.items():
        for stage in STAGES:
            if stage.percent_open is None and all(look.bbch is None for look in of_place):
                continue  # that buds have broken before bloom is no news
            after, by = _change(_told(stage, of_place))
            if after is not None or by is not None:
                known[*place, stage.key] = StageInterval(*place, stage.key, after, by)
    return known


def _has_come(stage: Stage, look: Look) -> bool | None:
    """What a look says of a stage; None if nothing."""
    if stage.key in look.disputed:
        return None
    if stage.percent_open is not None and look.percent_open is not None:
        return look.percent_open >= stage.percent_open
    if look.bbch is not None:
        return look.bbch >= stage.bbch
    if stage.key == "budbreak" and look.percent_open:
        return True
    return None


def _change(told: Sequence[tuple[dt.date, bool]]) -> tuple[dt.date | None, dt.date | None]:
    """Last day of "not yet" and first of "come", about the change that contradicts the fewest looks."""
    come = [said for _, said in told]
    contradicted = [sum(come[:place]) + come[place:].count(False) for place in range(len(come) + 1)]
    best = [place for place, count in enumerate(contradicted) if count == min(contradicted)]
    first, last = best[0], best[-1]
    if min(contradicted):
        first, last = max(first - 1, min(first, 1)), min(last + 1, max(last, len(told) - 1))
    after = told[first - 1][0] if first > 0 else None
    by = told[last][0] if last < len(told) else None
    return after, by


def _combined(logged: StageInterval, visited: StageInterval) -> StageInterval:
    both = _overlap(logged, visited)
    if both is not None:
        return both
    return visited if _visits_count(visited) else logged


def _overlap(logged: StageInterval, visited: StageInterval) -> StageInterval | None:
    """What log and visits say together; None where they exclude each other."""
    if logged.by is not None and visited.by == logged.by and visited.after is not None:
        return visited
    after = max((day for day in (logged.after, visited.after) if day is not None), default=None)
    by = min((day for day in (logged.by, visited.by) if day is not None), default=None)
    if after is None or by is None or after < by:
        return StageInterval(*_key(logged), after, by)
    return None


def _visits_count(visited: StageInterval) -> bool:
    """Whether visits that the log excludes are taken: they saw the stage come, having looked before."""
    return visited.after is not None and visited.by is not None


def _key(seen: StageInterval) -> StageOfPlace:
    return seen.season, seen.cultivar, seen.block, seen.stage


def _season_order(key: StageOfPlace) -> tuple[int, str, str, int]:
    season, cultivar, block, stage = key
    return season, cultivar, block or "", STAGE_KEYS.index(stage)
