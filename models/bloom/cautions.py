"""What has to be borne in mind beside a forecast's dates, as codes with what they tell."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Self

from models.bloom.in_season import SeasonKnowledge
from models.bloom.looks import Contradiction, Disagreement
from models.bloom.set_aside import SetAside
from models.bloom.thresholds import Fit
from models.bloom.traces import Traces
from models.records import Visit

# Below these an interval rests on assumptions more than on data. Ours.
FEW_SEASONS_OF_WEATHER = 8
FEW_SEASONS_OF_BLOOM = 3


@dataclass(frozen=True)
class NoTemperaturesYet:
    """None of the season before ``as_of``."""

    season: int
    as_of: dt.date


@dataclass(frozen=True)
class TemperaturesEnd:
    """They end days before the forecast's day."""

    through: dt.date


@dataclass(frozen=True)
class TemperaturesFilled:
    """Other seasons' means stand in for missing days."""

    first_day: dt.date
    last_day: dt.date


@dataclass(frozen=True)
class FewSeasonsOfWeather:
    """So few past seasons continue this one."""

    seasons: int


@dataclass(frozen=True)
class FewSeasonsOfBloom:
    """So few seasons are in the fit."""

    seasons: int


@dataclass(frozen=True)
class FitUnsettled:
    """The fit stopped before its numbers settled."""


@dataclass(frozen=True)
class SeasonUnsettled:
    """What this season's observations say did not settle."""


@dataclass(frozen=True)
class UnusualSeason:
    """What was seen of a stage comes so many days later (earlier, where negative) than its 98 % range. [day]"""

    stage: str
    days_later: float


@dataclass(frozen=True)
class ObservationSetAside:
    """An observation of this season that is not used."""

    slip: SetAside


@dataclass(frozen=True)
class VisitsContradict:
    """Visits of this season to a block (or a whole cultivar) that cannot all be right."""

    visits: tuple[Visit, ...]


@dataclass(frozen=True)
class LogAgainstVisits:
    """The log's date of a stage of a block (or whole cultivar) and the visits there exclude each other.

    By the visits it came after ``not_yet`` and by ``come``, of which one may be None. ``visits_count`` says which of
    them is taken.
    """

    place: str
    stage: str
    logged: dt.date
    not_yet: dt.date | None
    come: dt.date | None
    visits_count: bool

    @classmethod
    def of(cls, found: Disagreement) -> Self | None:
        """What is to be said of a disagreement; None where the log has no date."""
        if found.logged.by is None:
            return None
        return cls(
            found.logged.block or found.logged.cultivar,
            found.logged.stage,
            found.logged.by,
            found.visited.after,
            found.visited.by,
            found.visits_count,
        )


@dataclass(frozen=True)
class PastLogAgainstVisits:
    """The same of past seasons that a fit has learned from: the newest one, and how many more there are."""

    newest: LogAgainstVisits
    others: int


@dataclass(frozen=True)
class ObservationFarOff:
    """A block's stage that was seen (or not yet: ``had_come`` False) on ``day``, weeks off fit and weather.

    ``days_later`` is negative where it is early; it is taken all the same. [day]
    """

    block: str
    stage: str
    day: dt.date
    had_come: bool
    days_later: int


@dataclass(frozen=True)
class BlocksFrosted:
    """Blocks that were marked as frosted."""

    season: int
    blocks: tuple[str, ...]


@dataclass(frozen=True)
class SeasonInFit:
    """The fit was made with this very season."""

    season: int


@dataclass(frozen=True)
class FitImported:
    """The fit comes from another grower."""


@dataclass(frozen=True)
class FitOfOtherVineyards:
    """The fit comes from other vineyards of the same grower; nothing that was seen here is in it."""

    vineyards: tuple[str, ...]


@dataclass(frozen=True)
class FitBehind:
    """Rows of past seasons that the fit in use has not seen as they are."""

    rows: int
    seasons: int


@dataclass(frozen=True)
class StationChangeNotInFit:
    """The fit was made when other changes of the station were told than today."""


@dataclass(frozen=True)
class FewSeasonsOfCultivars:
    """Cultivars whose thresholds lean on the others."""

    cultivars: tuple[str, ...]


@dataclass(frozen=True)
class CultivarsUnknown:
    """Cultivars that the fit does not know."""

    cultivars: tuple[str, ...]


@dataclass(frozen=True)
class CultivarsOfGroup:
    """Cultivars without a season in the fit, whose dates are those of the others of their species."""

    cultivars: tuple[str, ...]


@dataclass(frozen=True)
class SpeciesUnknown:
    """Such cultivars whose species, or the others', is not recorded."""

    cultivars: tuple[str, ...]


@dataclass(frozen=True)
class LikeUnknown:
    """A cultivar that is said to bloom like another one, of which the fit knows nothing."""

    cultivar: str
    like: str


@dataclass(frozen=True)
class NorthAssumed:
    """No latitude was given."""


@dataclass(frozen=True)
class DailyLooksAssumed:
    """All dates of the log count as looked for every day; by their weekdays it was every so many days, or None."""

    betrayed_days: int | None


@dataclass(frozen=True)
class KeepToLabels:
    """Dates have an error, and sprays in bloom have rules."""


DateCaution = (
    NoTemperaturesYet
    | TemperaturesEnd
    | TemperaturesFilled
    | FewSeasonsOfWeather
    | FewSeasonsOfBloom
    | FitUnsettled
    | SeasonUnsettled
    | UnusualSeason
    | ObservationSetAside
    | VisitsContradict
    | LogAgainstVisits
    | PastLogAgainstVisits
    | ObservationFarOff
    | BlocksFrosted
    | SeasonInFit
    | FitImported
    | FitOfOtherVineyards
    | FitBehind
    | StationChangeNotInFit
    | FewSeasonsOfCultivars
    | CultivarsUnknown
    | CultivarsOfGroup
    | SpeciesUnknown
    | LikeUnknown
    | NorthAssumed
    | DailyLooksAssumed
    | KeepToLabels
)


def fit_cautions(fit: Fit) -> Iterator[DateCaution]:
    """What must be known of a fit itself, wherever it is used."""
    if not fit.converged:
        yield FitUnsettled()


def forecast_cautions(
    fit: Fit,
    knowledge: SeasonKnowledge,
    traces: Traces,
    season: int,
    as_of: dt.date,
    slips: Sequence[SetAside],
    contradictory: Sequence[Contradiction],
    disagreeing: Sequence[Disagreement],
    far_off: Sequence[ObservationFarOff],
) -> Iterator[DateCaution]:
    """What the computation noticed: gaps, thin data, an unusual season, slips."""
    through = traces.temperatures_through
    if through is None or through < traces.window.start:
        yield NoTemperaturesYet(season, as_of)
    elif (as_of - through).days > 1:
        yield TemperaturesEnd(through)
    yield from (TemperaturesFilled(gap.first, gap.last) for gap in traces.filled)
    if traces.known_days < traces.window.days and len(traces.seasons) < FEW_SEASONS_OF_WEATHER:
        yield FewSeasonsOfWeather(len(traces.seasons))
    if len(fit.seasons) < FEW_SEASONS_OF_BLOOM:
        yield FewSeasonsOfBloom(len(fit.seasons))
    yield from fit_cautions(fit)
    if not knowledge.converged:
        yield SeasonUnsettled()
    for stage, shift, a_day in zip(fit.stages, knowledge.unusual, fit.heat_a_day, strict=True):
        if shift != 0:
            yield UnusualSeason(stage, float(shift / a_day))
    yield from (ObservationSetAside(slip) for slip in slips)
    yield from (VisitsContradict(each.visits) for each in contradictory)
    yield from filter(None, map(LogAgainstVisits.of, disagreeing))
    yield from far_off
