"""What is doubtful of observations as they are recorded: far off what fit and weather say, or at odds with others."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterator, Sequence

from models.bloom.cautions import DateCaution, LogAgainstVisits, ObservationFarOff, VisitsContradict
from models.bloom.far_off import far_off
from models.bloom.looks import Place, contradictions, disagreements, stage_intervals
from models.bloom.season_looks import known_by
from models.bloom.traces import season_traces
from models.errors import CapfallError
from models.heat.season import season_of
from models.records import Visit
from service.store.repositories import Repositories
from service.usecases.fit_in_use import fit_for
from service.usecases.vineyard_records import load_vineyard

MOST_VISITS = 20  # a trip's worth: of a file the forecast's cautions tell


def far_off_visits(
    records: Repositories, vineyard: str, visits: Sequence[Visit]
) -> tuple[ObservationFarOff, ...]:
    """Of visits of one season, the stages that they tell weeks off; nothing where nothing can be said.

    They are looked at by themselves: whatever else was seen that season, each is held against weather and thresholds.
    """
    if not 0 < len(visits) <= MOST_VISITS:
        return ()
    as_of = max(visit.date for visit in visits) + dt.timedelta(days=1)
    try:
        loaded = load_vineyard(records, vineyard)
        fit = loaded.joined_to(fit_for(records, vineyard, None).fit)
        site = loaded.known_on(as_of).site
        season = season_of(as_of, site.latitude)
        traces = season_traces(
            site.temperatures,
            latitude=site.latitude,
            season=season,
            as_of=as_of,
            rule=fit.rule,
            gap_rule=fit.gap_rule,
        )
    except CapfallError:  # without weather or a fit there is nothing to hold them against
        return ()
    told = stage_intervals((), visits, latitude=site.latitude)
    frosted = site.frosted_in(season)
    seen = [each for each in known_by(told, fit, season, as_of) if each.block not in frosted]
    return far_off(seen, fit, traces)


def at_odds(
    records: Repositories, vineyard: str, places: Collection[Place], latitude: float | None
) -> Iterator[DateCaution]:
    """Stored visits to places (season, cultivar, block) that contradict each other, or exclude log dates there."""
    if latitude is None or not places:
        return
    seasons = {season for season, _, _ in places}
    visits = [each for each in records.visits.all(vineyard) if season_of(each.date, latitude) in seasons]
    for found in contradictions(visits, latitude=latitude):
        if (found.season, found.cultivar, found.block) in places:
            yield VisitsContradict(found.visits)
    log = [row for row in records.bloom_log.rows(vineyard) if row.season in seasons]
    for excluded in disagreements(log, visits, latitude=latitude):
        logged = excluded.logged
        told = LogAgainstVisits.of(excluded)
        if told is not None and (logged.season, logged.cultivar, logged.block) in places:
            yield told
