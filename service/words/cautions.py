"""What has to be borne in mind beside an answer."""

from __future__ import annotations

from collections.abc import Iterable
from typing import assert_never

from models.bloom.cautions import (
    BlocksFrosted,
    CultivarsOfGroup,
    CultivarsUnknown,
    DailyLooksAssumed,
    FewSeasonsOfBloom,
    FewSeasonsOfCultivars,
    FewSeasonsOfWeather,
    FitBehind,
    FitImported,
    FitOfOtherVineyards,
    FitUnsettled,
    KeepToLabels,
    LikeUnknown,
    LogAgainstVisits,
    NorthAssumed,
    NoTemperaturesYet,
    ObservationFarOff,
    ObservationSetAside,
    PastLogAgainstVisits,
    SeasonInFit,
    SeasonUnsettled,
    SpeciesUnknown,
    StationChangeNotInFit,
    TemperaturesEnd,
    TemperaturesFilled,
    UnusualSeason,
    VisitsContradict,
)
from models.records import Visit
from models.vineyard.cautions import (
    Caution,
    CoverByCultivar,
    EnoughAssumed,
    FlowerDaysAssumed,
    FrostCame,
    FrostDamageUnknown,
    LayoutOnly,
    LayoutsDisagree,
    OtherPollenUnknown,
    OwnFlowerDays,
    PastCoverAsNoted,
    PollenMayNotLack,
    ReachAssumed,
    StagesLacking,
)
from service.words.plain import listed, percent
from service.words.set_aside import why_set_aside


def caution_texts(cautions: Iterable[Caution]) -> list[str]:
    """Cautions as sentences, in their order."""
    return [caution_words(caution) for caution in cautions]


def caution_words(caution: Caution) -> str:
    """One caution as sentences."""
    match caution:
        case NorthAssumed():
            return "Northern hemisphere assumed, as no latitude is given."
        case DailyLooksAssumed(None):
            return (
                "The bloom log counts as looked at every day. Where rows were walked less often, bloom came earlier "
                "than its dates, and the forecast is late: say how often with checked_every_days."
            )
        case DailyLooksAssumed(every_days):
            return (
                "Dates of the bloom log fall on the same weekdays, as if rows were walked every "
                f"{every_days} days, yet they count as looked at every day: bloom is then forecast days late. Send the "
                f"log again with checked_every_days={every_days}."
            )
        case NoTemperaturesYet(season, as_of):
            return f"No temperatures of season {season} before {as_of}: all of it rests on past seasons."
        case TemperaturesEnd(through):
            return f"Temperatures end on {through}; the days since then rest on past seasons."
        case TemperaturesFilled(first_day, last_day):
            days = f"on {first_day}" if first_day == last_day else f"from {first_day} to {last_day}"
            return f"Temperatures are missing {days}; other seasons' means stand in."
        case FewSeasonsOfWeather(seasons):
            return f"Only {_seasons(seasons, 'past ')} of temperatures: intervals may be too narrow."
        case FewSeasonsOfBloom(seasons):
            return f"The fit knows {_seasons(seasons)} only: how much seasons differ is assumed more than measured."
        case FitUnsettled():
            return (
                "The fit stopped before its numbers settled: its thresholds and intervals are less sure than they "
                "look. A date in the bloom log that is far off may be the cause."
            )
        case SeasonUnsettled():
            return (
                "What this season's observations say did not settle: they may contradict each other. Compare the "
                "dates with the observations before you rely on them."
            )
        case UnusualSeason(stage, days_later):
            order = "later" if days_later > 0 else "earlier"
            return (
                f"This season's observations of {stage} come about {abs(days_later):.0f} days {order} than the fit "
                "expects, outside its 98 % range. Likely causes: the station moved or was changed, temperatures in "
                "the wrong unit, or observations of another block."
            )
        case ObservationSetAside(slip):
            return f"Set aside: {slip.block}, {why_set_aside(slip)}."
        case VisitsContradict(visits):
            where = visits[0].block or visits[0].cultivar
            told = listed([f"{_reading(visit)} on {visit.date}" for visit in visits])
            return (
                f"Visits to {where} contradict each other: {told}. Caps don't go back on, so not all of them are "
                "right, and the days of its stages are held wider. Correct or delete the one that is wrong in the "
                "list of visits."
            )
        case LogAgainstVisits():
            return f"{_against(caution)} Correct or delete the one that is wrong."
        case PastLogAgainstVisits(newest, others):
            more = (
                f" So it is {others} more {'time' if others == 1 else 'times'} in the seasons of the fit."
                if others
                else ""
            )
            return f"{_against(newest)}{more} Correct or delete the one that is wrong, and fit again."
        case ObservationFarOff(block, stage, day, had_come, days_later):
            seen = stage if had_come else f"{stage} not yet"
            order = "later" if days_later > 0 else "earlier"
            return (
                f"{block}, {seen} on {day}: {abs(days_later)} days {order} than fit and weather say. It is taken as it "
                "is, and moves other blocks too. If it is wrong, correct or delete it in the list of visits or in the "
                "bloom log."
            )
        case BlocksFrosted(season, blocks):
            return (
                f"Marked as frosted in {season}: {listed(blocks)}. Bloom there is drawn later and longer, what is "
                "seen there does not sharpen the dates of other blocks, and its pollen is not counted on."
            )
        case SeasonInFit(season):
            return (
                f"The fit was made with season {season} itself, so these dates say little about how good its forecasts "
                "are; to judge that, use a fit that excludes the season."
            )
        case FitImported():
            return (
                "The thresholds come from another grower's fit: station, site and way of looking differ. Compare them "
                "with visits of your own."
            )
        case FitOfOtherVineyards(vineyards):
            return (
                f"The thresholds come from {_vineyards(vineyards)}: nothing that was seen here is in the fit, and site "
                "and way of looking differ. Compare them with visits of your own."
            )
        case FitBehind(rows, seasons):
            return (
                f"Bloom log and visits have {rows} {'row' if rows == 1 else 'rows'} of {_seasons(seasons)} that the "
                "fit in use has not seen (new, changed or deleted since); fit again."
            )
        case StationChangeNotInFit():
            return (
                "The days on which the station was changed were told, or corrected, after the fit was made: it puts "
                "seasons together that are not alike. Fit again."
            )
        case FewSeasonsOfCultivars(cultivars):
            return f"Few seasons of {listed(cultivars)} are known: their thresholds lean on the other cultivars'."
        case CultivarsUnknown(cultivars):
            return f"No forecast for {listed(cultivars)}: not in the fit, and of another species than all that are."
        case CultivarsOfGroup(cultivars):
            return (
                f"No season of {listed(cultivars)} is in the fit: the dates are those of the other cultivars of the "
                "species, and as wide as these differ. A season of its own, or a cultivar that it blooms like "
                "(blooms_like, days_later), makes them narrower."
            )
        case SpeciesUnknown(cultivars):
            return (
                f"No season of {listed(cultivars)} is in the fit, and whether the cultivars there are of the same "
                "species is not recorded: the dates are held wide, as one of another species may bloom weeks apart. "
                "Record the species of all of them."
            )
        case LikeUnknown(cultivar, like):
            return f"{cultivar} is said to bloom like {like}, but no season of {like} is in the fit: it does not count."
        case StagesLacking(stages):
            return (
                f"The fit lacks {', '.join(stages)}. What rests on that is not known and not told: pollen cover over "
                "time, frost until the end of bloom, the days of some scouting tasks. Log all three bloom stages, or "
                "make a fit with them."
            )
        case FlowerDaysAssumed(receptive_days, pollen_days):
            return (
                f"Assumed, without a source: a flower is receptive for {receptive_days} days and an anther sheds "
                f"pollen for {pollen_days} days from capfall."
            )
        case OwnFlowerDays(cultivars):
            return f"Receptive or pollen days of their own are set for {listed(cultivars)}."
        case ReachAssumed(reach_m):
            return f"Pollen is taken to reach {reach_m:g} m; by default 50 ft, which is common practice."
        case OtherPollenUnknown("none"):
            return (
                "Only listed sources are counted. You said that no wild males stand nearby; neighbours' vines shed "
                "pollen too."
            )
        case OtherPollenUnknown("some" | "many" as how_many):
            return (
                f"Only listed sources are counted. You said that {how_many} wild males stand nearby: their pollen may "
                "cover days that are called uncovered here, so warnings are less certain than their chance says. No "
                "source says how much they give, so no gap is left out for them. Set counts show it."
            )
        case OtherPollenUnknown():
            # wild males near vineyards: second-hand
            return (
                "Only listed sources are counted: wild vines, many of them male, and neighbours' vines shed pollen "
                "too, and are not known here. Flowers without a listed source may still set."
            )
        case PollenMayNotLack():
            # Gupton (1998), Reproductive efficiency in muscadine grapes, USDA-ARS, read as abstract.
            return (
                "The case against these warnings: a study of the USDA-ARS (Gupton 1998) concluded that pollination may "
                "not be a problem in present cultivars. Count flowers before bloom and berries after it, and let set "
                "decide."
            )
        case FrostDamageUnknown():
            # Snyder & de Melo-Abreu (2005), Frost protection, FAO, table 4.8, second-hand: one American cultivar, 10 %
            # kill at its second to fourth leaf; -2.8 °C at the first leaf, -3.9 °C at bud burst. The trade knows no
            # limits for muscadine.
            return (
                "Which temperatures damage muscadine is not known. Limits by stage exist for other grapes only: a "
                "table of the FAO, seen second-hand, puts -2.2 °C for a kill of 10 % in one cultivar at its second to "
                "fourth leaf. Cold air also settles below the station's height and in hollows."
            )
        case FrostCame():
            # common practice, no source
            return (
                "A frost night came after budbreak. Where shoots froze, bloom comes from secondary buds: later, and "
                "longer, than the thresholds know. Walk those blocks, and mark the ones that froze so that the fit "
                "does not learn from them."
            )
        case LayoutsDisagree():
            return (
                "The published layouts disagree (from every third vine in every third row to one vine for eight, and "
                "in a single row every third or every fourth vine), and none of them looks at when cultivars bloom."
            )
        case LayoutOnly("no_fit"):
            return (
                "Without a fit in use, only the layout was checked: how far pollen reaches, not whether blooms meet. "
                "Cover in past seasons, and what would help, needs a fit."
            )
        case LayoutOnly():
            return "No past season has temperatures complete enough: only the layout was checked."
        case PastCoverAsNoted():
            return (
                "Cover in a past season follows the dates that were noted of a block in it. Blocks of which nothing "
                "was noted then are taken to bloom alike, by their cultivar, the season and its weather."
            )
        case CoverByCultivar():
            return (
                "Cover in past seasons is the part of the weather and the season: all vines of a cultivar are taken to "
                "bloom alike, wherever they will stand."
            )
        case EnoughAssumed(share):
            return (
                f"That {percent(share)} of a bloom are enough is an assumption; no source states a threshold."
            )
        case KeepToLabels():
            return (
                "Bloom dates are forecasts with an error: keep to product labels and local rules on sprays in bloom, "
                "and ask the local extension office."
            )
    assert_never(caution)


def _against(told: LogAgainstVisits) -> str:
    looks = [
        *([] if told.not_yet is None else [f"not yet on {told.not_yet}"]),
        *([] if told.come is None else [f"come by {told.come}"]),
    ]
    return (
        f"{told.place}, {told.stage}: the bloom log says {told.logged}, the visits say {listed(looks)}. The "
        f"{'visits are' if told.visits_count else 'log is'} taken."
    )


def _reading(visit: Visit) -> str:
    reading = f"BBCH {visit.bbch}" if visit.percent_open is None else f"{visit.percent_open:g} %"
    return reading if visit.observer is None else f"{reading} ({visit.observer})"


def _seasons(count: int, kind: str = "") -> str:
    return f"{count} {kind}season{'' if count == 1 else 's'}"


def _vineyards(keys: tuple[str, ...]) -> str:
    return f"vineyard {keys[0]}" if len(keys) == 1 else f"vineyards {listed(list(keys))}"
