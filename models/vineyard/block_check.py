"""One pistillate block in past seasons: how much of its bloom its sources covered, and what would help."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from models.records import Block, Unit
from models.units import FloatArray
from models.vineyard.cautions import StagesLacking
from models.vineyard.past_cover import SeasonBloom, covered_share
from models.vineyard.reach import VineGroup

# A cultivar that adds less than this to the mean covered share is not worth naming. Our convention.
WORTH_NAMING = 0.01


@dataclass(frozen=True)
class SeasonCover:
    """One past season of a block: the share of its bloom covered (median), and the chance that it was enough."""

    season: int
    share_of_bloom_covered: float
    chance: float


@dataclass(frozen=True)
class HelpfulCultivar:
    """A cultivar with viable pollen, as if planted within reach of a block, and what that would have changed.

    ``seasons_covered`` counts past seasons with it; ``closes_gap`` says whether the block were exposed no more.
    ``flower_type_known`` is False where only the fit knows it: a pistillate one would not help.
    """

    cultivar: str
    seasons_covered: int
    mean_share_of_bloom_covered: float
    closes_gap: bool
    flower_type_known: bool = True


@dataclass(frozen=True)
class NoViableSource:
    """No source with viable pollen stands in reach."""


@dataclass(frozen=True)
class CultivarNotInFit:
    """The fit does not know the block's cultivar."""

    cultivar: str


@dataclass(frozen=True)
class SourcesNotInFit:
    """The fit knows none of the cultivars that stand in reach."""

    cultivars: tuple[str, ...]


@dataclass(frozen=True)
class SeldomCovered:
    """Enough of the bloom was covered in too few past seasons; ``left_out`` stand in reach, unknown to the fit."""

    enough_share: float
    covered: int
    seasons: int
    left_out: tuple[str, ...] = ()


WhyExposed = NoViableSource | StagesLacking | CultivarNotInFit | SourcesNotInFit | SeldomCovered


@dataclass(frozen=True)
class BlockCheck:
    """One pistillate block.

    Attributes
    ----------
    vines_in_reach : int
        Those of its vines that have a source in reach.
    sources : tuple of str
        Blocks with viable pollen in reach.
    seasons : tuple of SeasonCover
        Past seasons; empty where the bloom of the block, or of all its sources, is not known.
    seasons_covered : int
        Those in which enough of its bloom was covered (in the median).
    exposed : bool
        No source in reach, or covered in too few seasons.
    why : WhyExposed or None
        Why it is exposed, or why that is not known.
    would_help : tuple of HelpfulCultivar
        For an exposed block: what would have covered more, the best first.
    """

    block: str
    cultivar: str
    vines: int
    vines_in_reach: int
    sources: tuple[str, ...]
    seasons: tuple[SeasonCover, ...]
    seasons_covered: int
    mean_share_of_bloom_covered: float | None
    exposed: bool
    why: WhyExposed | None
    would_help: tuple[HelpfulCultivar, ...]


# A season, whose bloom stands for a block, and by share of the vines, the sources in reach.
_Asked = tuple[int, Unit, tuple[tuple[float, frozenset[Unit]], ...]]


class History:
    """Past seasons under one set of assumptions; each pair of bloom and sources is computed once.

    ``lacking`` are the bloom stages without which there is no past season.
    """

    def __init__(
        self,
        past: Sequence[SeasonBloom],
        receptive_days_of: Mapping[str, int],
        pollen_days_of: Mapping[str, int],
        enough_share: float,
        enough_seasons: float,
        lacking: tuple[str, ...] = (),
    ) -> None:
        self.past = past
        self.lacking = lacking
        self.enough_share = enough_share
        self.enough_seasons = enough_seasons
        self._receptive_days_of = receptive_days_of
        self._pollen_days_of = pollen_days_of
        self._seen: dict[_Asked, FloatArray] = {}

    def knows(self, cultivar: str) -> bool:
        """Whether the bloom of a cultivar in those seasons is known."""
        return bool(self.past) and cultivar in self.past[0].blooms

    def of(self, block: Block, groups: Sequence[VineGroup]) -> tuple[SeasonCover, ...]:
        """Cover of a block by the sources in reach of its vines, season by season."""
        return tuple(
            self._summed_up(season.season, share)
            for season in self.past
            if (share := self._share(season, block, groups)).size
        )

    def covered(self, seasons: Sequence[SeasonCover]) -> int:
        """How many seasons count as covered."""
        return sum(season.share_of_bloom_covered >= self.enough_share for season in seasons)

    def enough(self, seasons: Sequence[SeasonCover]) -> bool:
        """Whether so many count that a block is not exposed."""
        return self.covered(seasons) >= self.enough_seasons * len(seasons)

    def _share(self, season: SeasonBloom, block: Block, groups: Sequence[VineGroup]) -> FloatArray:
        asked = (
            season.season,
            season.stands_for(block),
            tuple((group.vines / block.vines, season.sources(group)) for group in groups),
        )
        if asked not in self._seen:
            self._seen[asked] = covered_share(
                season,
                block,
                groups,
                receptive_days=self._receptive_days_of[block.cultivar],
                pollen_days_of=self._pollen_days_of,
            )
        return self._seen[asked]

    def _summed_up(self, season: int, share: FloatArray) -> SeasonCover:
        return SeasonCover(season, float(np.median(share)), float(np.mean(share >= self.enough_share)))


def block_check(
    block: Block, groups: Sequence[VineGroup], givers: Mapping[str, bool], history: History
) -> BlockCheck:
    """Check one block.

    Parameters
    ----------
    block : Block
        Of a pistillate cultivar.
    groups : sequence of VineGroup
        Its vines by the blocks with viable pollen in their reach.
    givers : mapping of str to bool
        Cultivars that are tried where the block is exposed; True for those known to have viable pollen, False
        where the flower type is not known.
    history : History
    """
    sources = {other.key: other for group in groups for other in group.in_reach}
    cultivars = {source.cultivar for source in sources.values()}
    unknown = sorted(key for key in cultivars if not history.knows(key))
    some_known = not sources or len(unknown) < len(cultivars)
    seasons: tuple[SeasonCover, ...] = ()
    if history.knows(block.cultivar) and some_known:
        seasons = history.of(block, groups)
    exposed = not sources or not history.enough(seasons)
    return BlockCheck(
        block=block.key,
        cultivar=block.cultivar,
        vines=block.vines,
        vines_in_reach=sum(group.vines for group in groups if group.in_reach),
        sources=tuple(sources),
        seasons=seasons,
        seasons_covered=history.covered(seasons),
        mean_share_of_bloom_covered=_mean_share(seasons) if seasons else None,
        exposed=exposed,
        why=_why(block, tuple(sources.values()), unknown, seasons, history),
        would_help=_would_help(block, groups, seasons, givers, history) if exposed else (),
    )


def _why(
    block: Block,
    sources: tuple[Block, ...],
    unknown: list[str],
    seasons: Sequence[SeasonCover],
    history: History,
) -> WhyExposed | None:
    if not sources:
        return NoViableSource()
    if history.lacking:
        return StagesLacking(history.lacking)
    if not history.past:
        return None
    if not history.knows(block.cultivar):
        return CultivarNotInFit(block.cultivar)
    if not seasons:
        return SourcesNotInFit(tuple(unknown)) if unknown else None
    if history.enough(seasons):
        return None
    return SeldomCovered(history.enough_share, history.covered(seasons), len(seasons), tuple(unknown))


def _would_help(
    block: Block,
    groups: Sequence[VineGroup],
    now: Sequence[SeasonCover],
    givers: Mapping[str, bool],
    history: History,
) -> tuple[HelpfulCultivar, ...]:
    """Cultivars that would add to the cover if one block of them stood in reach of all vines, the best first."""
    if not now:
        return ()
    remedies = []
    for giver, has_pollen in givers.items():
        if not history.knows(giver):
            continue
        new = Block(f"new {giver}", giver, block.x_m, block.y_m)
        then = history.of(block, [replace(group, in_reach=(*group.in_reach, new)) for group in groups])
        if (
            history.covered(then) > history.covered(now)
            or _mean_share(then) >= _mean_share(now) + WORTH_NAMING
        ):
            remedies.append(
                HelpfulCultivar(
                    giver, history.covered(then), _mean_share(then), history.enough(then), has_pollen
                )
            )
    return tuple(
        sorted(
            remedies,
            key=lambda best: (
                -best.seasons_covered,
                -best.mean_share_of_bloom_covered,
                not best.flower_type_known,
            ),
        )
    )


def _mean_share(seasons: Sequence[SeasonCover]) -> float:
    return float(np.mean([season.share_of_bloom_covered for season in seasons]))
