"""What has to be borne in mind beside pollen cover, frost and layout, as codes with what they tell."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from models.bloom.cautions import DateCaution

WildMales = Literal["none", "some", "many"]


@dataclass(frozen=True)
class StagesLacking:
    """Bloom stages that the fit lacks."""

    stages: tuple[str, ...]


@dataclass(frozen=True)
class FlowerDaysAssumed:
    """How long a flower is receptive and an anther sheds was not given. [day]"""

    receptive_days: int
    pollen_days: int


@dataclass(frozen=True)
class OwnFlowerDays:
    """Cultivars with receptive or pollen days of their own."""

    cultivars: tuple[str, ...]


@dataclass(frozen=True)
class ReachAssumed:
    """Distance decides which sources count. [m]"""

    reach_m: float


@dataclass(frozen=True)
class OtherPollenUnknown:
    """Wild males and neighbours' vines shed pollen that is not counted; ``wild_males``: how many stand near.

    No source says how much they give, so chances stay what listed sources make them, and no gap is hidden.
    """

    wild_males: WildMales | None = None


@dataclass(frozen=True)
class PollenMayNotLack:
    """A published study found no trouble with pollination, against the warnings beside it."""


@dataclass(frozen=True)
class SetOnTheseVines:
    """What set counts of past seasons say of cover on these vines: it explains set, is not shown to, or speaks against.

    Set as it would be without cover and with all of it, of so many blocks (one a season) and seasons. [share]
    """

    verdict: Literal["explains", "not_shown", "against"]
    set_without: float
    set_with: float
    blocks: int
    seasons: int


@dataclass(frozen=True)
class FrostDamageUnknown:
    """A frost night came, or may come."""


@dataclass(frozen=True)
class FrostLimitsGiven:
    """Chances by stage rest on limits that the grower gave, who said whose they are."""

    source: str


@dataclass(frozen=True)
class CordonsColder:
    """Cordons are taken to be colder than the station, on every night by as much as was told. [°C]"""

    least_c: float
    most_c: float


@dataclass(frozen=True)
class FrostCame:
    """A frost night came after budbreak."""


@dataclass(frozen=True)
class LayoutsDisagree:
    """Published layouts contradict each other."""


@dataclass(frozen=True)
class LayoutOnly:
    """Only the layout was checked: no fit is in use, or no past season has weather complete enough."""

    why: Literal["no_fit", "no_past_season"]


@dataclass(frozen=True)
class PastCoverAsNoted:
    """Cover in past seasons takes blocks of a cultivar to bloom alike, but for those with dates of their own."""


@dataclass(frozen=True)
class CoverByCultivar:
    """Cover in past seasons takes all vines of a cultivar to bloom alike, wherever they will stand."""


@dataclass(frozen=True)
class EnoughAssumed:
    """The share of a bloom that is taken as enough."""

    share: float


Caution = (
    DateCaution
    | StagesLacking
    | FlowerDaysAssumed
    | OwnFlowerDays
    | ReachAssumed
    | OtherPollenUnknown
    | PollenMayNotLack
    | SetOnTheseVines
    | FrostDamageUnknown
    | FrostLimitsGiven
    | CordonsColder
    | FrostCame
    | LayoutsDisagree
    | LayoutOnly
    | PastCoverAsNoted
    | CoverByCultivar
    | EnoughAssumed
)
