"""What is said beside a forecast's dates."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from models.bloom.in_season import SeasonKnowledge
from models.bloom.observations import SetAside
from models.bloom.thresholds import Fit
from models.bloom.traces import Traces

SPRAY_CAUTION = (
    "Bloom dates are forecasts with an error: keep to product labels and local rules on sprays in bloom, and ask"
    " the local extension office."
)
UNSETTLED_CAUTION = (
    "The fit stopped before its numbers settled: its thresholds and intervals are less sure than they look. A date"
    " in the bloom log that is far off may be the cause."
)
UNSETTLED_SEASON_CAUTION = (
    "What this season's observations say did not settle: they may contradict each other. Compare the dates with the"
    " observations before you rely on them."
)
# Below these an interval rests on assumptions more than on data. Ours.
FEW_SEASONS_OF_WEATHER = 8
FEW_SEASONS_OF_BLOOM = 3


def fit_cautions(fit: Fit) -> tuple[str, ...]:
    """What must be known of a fit itself, wherever it is used."""
    return () if fit.converged else (UNSETTLED_CAUTION,)


def forecast_cautions(
    fit: Fit,
    knowledge: SeasonKnowledge,
    traces: Traces,
    season: int,
    as_of: dt.date,
    slips: Sequence[SetAside],
) -> tuple[str, ...]:
    """What a grower must know beside the dates: gaps, thin data, an unusual season, slips, and the usual care."""
    said = []
    through = traces.temperatures_through
    if through is None or through < traces.window.start:
        said.append(f"No temperatures of season {season} before {as_of}: all of it rests on past seasons.")
    elif (as_of - through).days > 1:
        said.append(f"Temperatures end on {through}; the days since then rest on past seasons.")
    said += [
        f"Temperatures are missing from {gap.first} to {gap.last}; other seasons' means stand in."
        for gap in traces.filled
    ]
    if traces.known_days < traces.window.days and len(traces.seasons) < FEW_SEASONS_OF_WEATHER:
        said.append(f"Only {len(traces.seasons)} past seasons of temperatures: intervals may be too narrow.")
    if len(fit.seasons) < FEW_SEASONS_OF_BLOOM:
        said.append(
            f"The fit knows {len(fit.seasons)} season(s): how much seasons differ is assumed more than measured."
        )
    said += fit_cautions(fit)
    if not knowledge.converged:
        said.append(UNSETTLED_SEASON_CAUTION)
    for stage, shift in zip(fit.stages, knowledge.unusual, strict=True):
        if shift != 0:
            days = shift / fit.heat_a_day[fit.stages.index(stage)]
            said.append(
                f"This season's observations of {stage} come about {abs(days):.0f} days"
                f" {'later' if days > 0 else 'earlier'} than the fit expects, outside its 98 % range. Likely causes:"
                " the station moved or was changed, temperatures in the wrong unit, or observations of another block."
            )
    said += [f"Set aside: {slip.block}, {slip.why}." for slip in slips]
    said.append(SPRAY_CAUTION)
    return tuple(said)
