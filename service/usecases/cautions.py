"""Which cautions an answer carries: decided here, for page, feed, terminal and JSON alike."""

from __future__ import annotations

from collections.abc import Iterator

from models.bloom.cautions import (
    FEW_SEASONS_OF_BLOOM,
    BlocksFrosted,
    CultivarsOfGroup,
    CultivarsUnknown,
    DailyLooksAssumed,
    FewSeasonsOfBloom,
    FewSeasonsOfCultivars,
    FitBehind,
    FitImported,
    FitOfOtherVineyards,
    KeepToLabels,
    LikeUnknown,
    LogAgainstVisits,
    NorthAssumed,
    PastLogAgainstVisits,
    SeasonInFit,
    SpeciesUnknown,
    StationChangeNotInFit,
    fit_cautions,
)
from models.bloom.rounds import betrayed_round
from models.vineyard.cautions import (
    Caution,
    CordonsColder,
    CoverByCultivar,
    EnoughAssumed,
    FlowerDaysAssumed,
    FrostCame,
    FrostDamageUnknown,
    FrostLimitsGiven,
    LayoutOnly,
    LayoutsDisagree,
    OtherPollenUnknown,
    OwnFlowerDays,
    PastCoverAsNoted,
    PollenMayNotLack,
    ReachAssumed,
    SetOnTheseVines,
    StagesLacking,
)
from models.vineyard.set_on_cover import SetOnCover
from service.usecases.fit_documents import SavedFit
from service.usecases.forecasts import VineyardForecast
from service.usecases.frost import VineyardFrost, look_for_frost
from service.usecases.layout import VineyardLayout
from service.usecases.planting_check import VineyardCheck
from service.usecases.pollen import VineyardPollination
from service.usecases.vineyard_records import VineyardRecords


def cautions_of(
    told: VineyardForecast | VineyardCheck | VineyardLayout | SavedFit,
    *,
    frost: VineyardFrost | None = None,
    pollen: VineyardPollination | None = None,
    set_claim: SetOnCover | None = None,
) -> tuple[Caution, ...]:
    """What has to be borne in mind beside an answer, each once.

    Parameters
    ----------
    told : VineyardForecast, VineyardCheck, VineyardLayout or SavedFit
        What the answer rests on.
    frost : VineyardFrost, optional
        Of the forecast, where the answer tells it; what it says holds for every answer about dates.
    pollen : VineyardPollination, optional
        Of the forecast, where the answer tells of pollen.
    set_claim : SetOnCover, optional
        What set counts of the seasons before say of cover, where they say something.
    """
    if isinstance(told, SavedFit):
        return tuple(fit_cautions(told.fit))
    if isinstance(told, VineyardCheck):
        return tuple(_of_layout(told))
    if isinstance(told, VineyardLayout):
        return tuple(_of_search(told))
    found = [*_of_dates(told)]
    if pollen is not None:
        found += _of_pollen(told, pollen, set_claim)
    found += _of_frost(look_for_frost(told) if frost is None else frost)
    return tuple(dict.fromkeys([*found, KeepToLabels()]))


def _of_dates(foreseen: VineyardForecast) -> Iterator[Caution]:
    found, fit, vineyard = foreseen.forecast, foreseen.fit, foreseen.vineyard
    if vineyard.north_assumed:
        yield NorthAssumed()
    yield from found.cautions
    if fit.fit.lacking:
        yield StagesLacking(fit.fit.lacking)
    frosted = tuple(sorted(block.block for block in found.blocks if block.frosted))
    if frosted:
        yield BlocksFrosted(found.season, frosted)
    if found.season in fit.fit.seasons:
        yield SeasonInFit(found.season)
    log = vineyard.site.log
    if fit.imported:
        yield FitImported()
    elif vineyard.key not in fit.sites:
        yield FitOfOtherVineyards(tuple(fit.sites))
    if foreseen.behind is not None and foreseen.behind.rows:
        yield FitBehind(foreseen.behind.rows, foreseen.behind.seasons)
    learned = [each for each in vineyard.site.disagreements if each.logged.season in fit.fit.seasons]
    past = [told for told in map(LogAgainstVisits.of, learned) if told is not None]
    if past and vineyard.key in fit.sites:
        yield PastLogAgainstVisits(max(past, key=lambda told: told.logged), len(past) - 1)
    if _other_changes(foreseen):
        yield StationChangeNotInFit()
    if not fit.imported and log and all(row.checked_every_days == 1 for row in log):
        yield DailyLooksAssumed(betrayed_round(log))
    seen = dict(zip(fit.fit.cultivars, fit.fit.seasons_seen.max(axis=1).tolist(), strict=True))
    grown = sorted({block.cultivar for block in found.blocks})
    few = tuple(key for key in grown if seen.get(key, FEW_SEASONS_OF_BLOOM) < FEW_SEASONS_OF_BLOOM)
    if few:
        yield FewSeasonsOfCultivars(few)
    yield from _of_newcomers(vineyard, fit)


def _other_changes(foreseen: VineyardForecast) -> bool:
    """Whether the fit puts seasons of the vineyard's station together otherwise than its changes do.

    They are those that were told by the forecast's day, or all that are told today.
    """
    site = foreseen.vineyard.site
    told = (site, foreseen.vineyard.known_on(foreseen.forecast.as_of).site)
    stretches = {f"station {site.station}", site.key}
    return any(
        all(said.site != each.place(said.season) for each in told)
        for said in foreseen.fit.fit.season_evidence
        if said.site.partition(" from ")[0] in stretches and (site.changed_on or said.site != site.key)
    )


def _of_newcomers(vineyard: VineyardRecords, fit: SavedFit) -> Iterator[Caution]:
    """What is said of planted cultivars that a fit does not know."""
    joined = vineyard.joined_to(fit.fit)
    grown = sorted({block.cultivar for block in vineyard.planting.blocks})
    group = tuple(one.cultivar for one in joined.newcomers if one.species is not None)
    unnamed = tuple(one.cultivar for one in joined.newcomers if one.species is None)
    unknown = tuple(key for key in grown if key not in joined.cultivars)
    if group:
        yield CultivarsOfGroup(group)
    if unnamed:
        yield SpeciesUnknown(unnamed)
    if unknown:
        yield CultivarsUnknown(unknown)
    for key in grown:
        like = vineyard.planting.cultivars[key].blooms_like
        if like is not None and key not in fit.fit.cultivars and like not in fit.fit.cultivars:
            yield LikeUnknown(key, like)


def _of_pollen(
    foreseen: VineyardForecast, pollen: VineyardPollination, claim: SetOnCover | None
) -> Iterator[Caution]:
    vineyard = foreseen.vineyard
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
    if pollen.blocks:
        yield OtherPollenUnknown(vineyard.wild_males)
    if not any(block.warnings for block in pollen.blocks):
        return
    verdict = None if claim is None else claim.verdict
    if claim is not None and claim.effect is not None and (verdict in ("explains", "not_shown", "against")):
        effect = claim.effect
        yield SetOnTheseVines(verdict, effect.set_without, effect.set_with, claim.blocks, claim.seasons)
    if verdict != "explains":
        yield PollenMayNotLack()


def _of_frost(frost: VineyardFrost) -> Iterator[Caution]:
    blocks = frost.blocks.values()
    if any(block.chance or block.frost_nights for block in blocks):
        yield FrostDamageUnknown()
    if frost.limits is not None:
        yield FrostLimitsGiven(frost.limits.source)
    colder = [block.colder_c for block in blocks]
    if any(colder):
        yield CordonsColder(min(colder), max(colder))
    if any(block.frost_nights for block in blocks):
        yield FrostCame()


def _of_layout(checked: VineyardCheck) -> Iterator[Caution]:
    yield LayoutsDisagree()
    if checked.fit is None or checked.vineyard is None:
        yield LayoutOnly("no_fit")
        return
    if checked.fit.fit.lacking:
        yield StagesLacking(checked.fit.fit.lacking)
        return
    if not checked.check.seasons:
        planted = {block.cultivar for block in checked.planting.blocks}
        known = planted & set(checked.vineyard.joined_to(checked.fit.fit).cultivars)
        none = LayoutOnly("no_past_season")
        yield none if known or not planted else CultivarsUnknown(tuple(sorted(planted)))
        return
    yield from _of_newcomers(checked.vineyard, checked.fit)
    yield PastCoverAsNoted()
    yield EnoughAssumed(checked.options.enough_share)
    if checked.fit.imported:
        yield FitImported()
    seasons = len(checked.fit.fit.seasons)
    if seasons < FEW_SEASONS_OF_BLOOM:
        yield FewSeasonsOfBloom(seasons)
    yield from fit_cautions(checked.fit.fit)


def _of_search(found: VineyardLayout) -> Iterator[Caution]:
    yield ReachAssumed(found.reach_m)
    yield OtherPollenUnknown(found.wild_males)
    yield PollenMayNotLack()
    if found.fit is None:
        yield LayoutOnly("no_fit")
        return
    if found.fit.fit.lacking:
        yield StagesLacking(found.fit.fit.lacking)
        return
    if not found.layout.seasons:
        yield LayoutOnly("no_past_season")
        return
    if found.days_assumed:
        yield FlowerDaysAssumed(found.receptive_days, found.pollen_days)
    yield CoverByCultivar()
    yield EnoughAssumed(found.asked.enough_share)
    if found.fit.imported:
        yield FitImported()
    yield from fit_cautions(found.fit.fit)
