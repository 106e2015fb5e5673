"""Which cautions an answer carries: decided here, for page, feed, terminal and JSON alike."""

from __future__ import annotations

from collections.abc import Iterator

from models.bloom.cautions import (
    FEW_SEASONS_OF_BLOOM,
    BlocksFrosted,
    CultivarsUnknown,
    DailyLooksAssumed,
    FewSeasonsOfBloom,
    FewSeasonsOfCultivars,
    FitImported,
    KeepToLabels,
    NorthAssumed,
    SeasonInFit,
    fit_cautions,
)
from models.bloom.rounds import betrayed_round
from models.vineyard.cautions import (
    Caution,
    EnoughAssumed,
    FlowerDaysAssumed,
    FrostCame,
    FrostDamageUnknown,
    LayoutsDisagree,
    NoFitForCover,
    NoPastSeason,
    OwnFlowerDays,
    ReachAssumed,
    StagesLacking,
)
from service.usecases.fit_documents import SavedFit
from service.usecases.forecasts import VineyardForecast
from service.usecases.frost import VineyardFrost, look_for_frost
from service.usecases.planting_check import VineyardCheck
from service.usecases.pollen import VineyardPollination, lacking_stages


def cautions_of(
    told: VineyardForecast | VineyardCheck | SavedFit,
    *,
    frost: VineyardFrost | None = None,
    pollen: VineyardPollination | None = None,
) -> tuple[Caution, ...]:
    """What has to be borne in mind beside an answer, each once.

    Parameters
    ----------
    told : VineyardForecast, VineyardCheck or SavedFit
        What the answer rests on.
    frost : VineyardFrost, optional
        Of the forecast, where the answer tells it; what it says holds for every answer about dates.
    pollen : VineyardPollination, optional
        Of the forecast, where the answer tells of pollen.
    """
    if isinstance(told, SavedFit):
        return tuple(fit_cautions(told.fit))
    if isinstance(told, VineyardCheck):
        return tuple(_of_layout(told))
    found = [*_of_dates(told)]
    if pollen is not None:
        found += _of_pollen(told, pollen)
    found += _of_frost(look_for_frost(told) if frost is None else frost)
    return tuple(dict.fromkeys([*found, KeepToLabels()]))


def _of_dates(foreseen: VineyardForecast) -> Iterator[Caution]:
    found, fit, vineyard = foreseen.forecast, foreseen.fit, foreseen.vineyard
    if vineyard.north_assumed:
        yield NorthAssumed()
    yield from found.cautions
    frosted = tuple(sorted(block.block for block in found.blocks if block.frosted))
    if frosted:
        yield BlocksFrosted(found.season, frosted)
    if found.season in fit.fit.seasons:
        yield SeasonInFit(found.season)
    log = vineyard.site.log
    if fit.imported:
        yield FitImported()
    elif log and all(row.checked_every_days == 1 for row in log):
        yield DailyLooksAssumed(betrayed_round(log))
    by_basis = {
        basis: tuple(sorted({block.cultivar for block in found.blocks if block.basis == basis}))
        for basis in ("pooled", "none")
    }
    if by_basis["pooled"]:
        yield FewSeasonsOfCultivars(by_basis["pooled"])
    if by_basis["none"]:
        yield CultivarsUnknown(by_basis["none"])


def _of_pollen(foreseen: VineyardForecast, pollen: VineyardPollination) -> Iterator[Caution]:
    vineyard = foreseen.vineyard
    lacking = lacking_stages(foreseen)
    if lacking:
        yield StagesLacking(lacking)
    if vineyard.receptive_days is None or vineyard.pollen_days is None:
        yield FlowerDaysAssumed(pollen.receptive_days, pollen.pollen_days)
    own = sorted(
        key
        for key, cultivar in vineyard.planting.cultivars.items()
        if (cultivar.receptive_days, cultivar.pollen_days) != (None, None)
    )
    if own:
        yield OwnFlowerDays(tuple(own))
    if any(block.neighbours is None for block in vineyard.planting.blocks):
        yield ReachAssumed(pollen.reach_m)


def _of_frost(frost: VineyardFrost) -> Iterator[Caution]:
    blocks = frost.blocks.values()
    if any(block.chance or block.frost_nights for block in blocks):
        yield FrostDamageUnknown()
    if any(block.frost_nights for block in blocks):
        yield FrostCame()


def _of_layout(checked: VineyardCheck) -> Iterator[Caution]:
    yield LayoutsDisagree()
    if checked.fit is None:
        yield NoFitForCover()
        return
    if not checked.check.seasons:
        yield NoPastSeason()
        return
    yield EnoughAssumed(checked.options.enough_share)
    if checked.fit.imported:
        yield FitImported()
    seasons = len(checked.fit.fit.seasons)
    if seasons < FEW_SEASONS_OF_BLOOM:
        yield FewSeasonsOfBloom(seasons)
    yield from fit_cautions(checked.fit.fit)
