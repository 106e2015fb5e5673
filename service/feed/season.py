"""A vineyard's season as one calendar."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

from models.vineyard.scouting import Plan
from service import clock
from service.feed.entries import names_of, season_entries, without_window
from service.feed.ical import to_ical
from service.feed.trips import missed_tasks, task_names, trip_entries
from service.store.engine import Store
from service.usecases.calendar import Entry, Revision, keep, revise, suppose, told_before, trip_subjects
from service.usecases.cautions import cautions_of
from service.usecases.forecasts import VineyardForecast, stored_forecast
from service.usecases.pollen import VineyardPollination, pollinate
from service.usecases.scouting import plan_scouting
from service.words.cautions import caution_texts

INTERVAL = 0.8


def season_calendar(
    store: Store, grower: str, vineyard: str, *, as_of: dt.date | None, fit: str | None
) -> bytes:
    """The calendar of the season in which ``as_of`` lies, by default the vineyard's today.

    The feed proper, that is without ``as_of`` and ``fit``, keeps what it tells, and so counts the revisions of
    every event. Any other calendar is a "what if": it takes the sequences from the feed and leaves no trace.

    Raises
    ------
    NotFound
        If there is no such vineyard or fit.
    BadInput, NotEnoughData
        As the forecast does.
    """
    with store.transaction(grower, read_only=True) as records:
        known = records.vineyards.get(vineyard)
        name, day = known.name, clock.today(known.timezone) if as_of is None else as_of
        foreseen = stored_forecast(records, vineyard, as_of=day, fit=fit, interval=INTERVAL)
        season = foreseen.forecast.season
        before = told_before(records, vineyard, season)
    plan, pollen = plan_scouting(foreseen), pollinate(foreseen)
    description = _description(foreseen, plan, pollen, name)
    entries = _entries(foreseen, plan, pollen, before, description)
    if as_of is None and fit is None:
        revisions = _revisions(store, grower, vineyard, season, entries, before, day)
    else:
        revisions = suppose(entries, before, as_of=day)
    return to_ical(
        revisions,
        grower=grower,
        vineyard=vineyard,
        season=season,
        name=f"{name}: bloom {season}",
        description=description,
    )


def _revisions(
    store: Store,
    grower: str,
    vineyard: str,
    season: int,
    entries: Sequence[Entry],
    before: Mapping[str, Revision],
    as_of: dt.date,
) -> tuple[Revision, ...]:
    """The revisions to tell; the store is written to only if one is new."""
    now = clock.now().replace(microsecond=0)  # a calendar tells whole seconds
    revisions = revise(entries, before, as_of=as_of, now=now)
    if {revision.entry.key: revision for revision in revisions} == before:
        return revisions
    with store.transaction(grower) as records:
        return keep(records, vineyard, season, entries, as_of=as_of, now=now)


def _entries(
    foreseen: VineyardForecast,
    plan: Plan,
    pollen: VineyardPollination,
    before: Mapping[str, Revision],
    description: str,
) -> list[Entry]:
    planting, forecast = foreseen.vineyard.planting, foreseen.forecast
    subjects = trip_subjects({trip.date: task_names(trip) for trip in plan.trips}, before)
    entries = [
        *season_entries(forecast.blocks, pollen.blocks, planting, interval=forecast.interval),
        *trip_entries(plan, subjects, names_of(planting)),
    ]
    if not entries:  # a calendar without any component is none (RFC 5545, 3.6)
        start = forecast.traces.window.start
        entries.append(
            Entry(
                kind="note",
                subject="nothing",
                first_day=start,
                last_day=start,
                title="No bloom forecast yet",
                text=description,
            )
        )
    return entries


def _description(foreseen: VineyardForecast, plan: Plan, pollen: VineyardPollination, name: str) -> str:
    planting, forecast = foreseen.vineyard.planting, foreseen.forecast
    return "\n".join(
        [
            f"{name}, season {forecast.season}: bloom windows, scouting trips and pollen warnings.",
            *without_window(forecast.blocks, planting),
            *missed_tasks(plan, names_of(planting)),
            *caution_texts(cautions_of(foreseen, pollen=pollen)),
        ]
    )
