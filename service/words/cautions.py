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
from models.units import fahrenheit_steps_from_celsius_steps
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
from service.words.forecast import exact_stage
from service.words.language import _, ngettext, reading
from service.words.plain import exact_date, exact_from_to, length_words, listed, percent
from service.words.set_aside import why_set_aside


def caution_texts(cautions: Iterable[Caution]) -> list[str]:
    """Cautions as sentences, in their order."""
    return [caution_words(caution) for caution in cautions]


def caution_words(caution: Caution) -> str:
    """One caution as sentences."""
    match caution:
        case NorthAssumed():
            return _("Northern hemisphere assumed, as no latitude is given.")
        case DailyLooksAssumed(None):
            return _(
                "The bloom log counts as looked at every day. Where rows were walked less often, bloom came earlier "
                "than its dates, and the forecast is late: say how often with checked_every_days."
            )
        case DailyLooksAssumed(every_days):
            return _(
                "Dates of the bloom log fall on the same weekdays, as if rows were walked every {days} days, yet they "
                "count as looked at every day: bloom is then forecast days late. Send the log again with "
                "checked_every_days={days}.",
                days=every_days,
            )
        case NoTemperaturesYet(season, as_of):
            return _(
                "No temperatures of season {season} before {date}: all of it rests on past seasons.",
                season=season,
                date=exact_date(as_of),
            )
        case TemperaturesEnd(through):
            return _(
                "Temperatures end on {date}; the days since then rest on past seasons.",
                date=exact_date(through),
            )
        case TemperaturesFilled(first_day, last_day):
            days = exact_from_to(first_day, last_day)
            return _("Temperatures are missing {days}; other seasons' means stand in.", days=days)
        case FewSeasonsOfWeather(seasons):
            return ngettext(
                "Only {count} past season of temperatures: intervals may be too narrow.",
                "Only {count} past seasons of temperatures: intervals may be too narrow.",
                seasons,
            )
        case FewSeasonsOfBloom(seasons):
            return ngettext(
                "The fit knows {count} season only: how much seasons differ is assumed more than measured.",
                "The fit knows {count} seasons only: how much seasons differ is assumed more than measured.",
                seasons,
            )
        case FitUnsettled():
            return _(
                "The fit stopped before its numbers settled: its thresholds and intervals are less sure than they "
                "look. A date in the bloom log that is far off may be the cause."
            )
        case SeasonUnsettled():
            return _(
                "What this season's observations say did not settle: they may contradict each other. Compare the "
                "dates with the observations before you rely on them."
            )
        case UnusualSeason(stage, days_later):
            values = {"stage": exact_stage(stage), "days": f"{abs(days_later):.0f}"}
            if days_later > 0:
                return _(
                    "This season's observations of {stage} come about {days} days later than the fit expects, outside "
                    "its 98 % range. Likely causes: the station moved or was changed, temperatures in the wrong unit, "
                    "or observations of another block.",
                    **values,
                )
            return _(
                "This season's observations of {stage} come about {days} days earlier than the fit expects, outside "
                "its 98 % range. Likely causes: the station moved or was changed, temperatures in the wrong unit, or "
                "observations of another block.",
                **values,
            )
        case ObservationSetAside(slip):
            return _("Set aside: {block}, {why}.", block=slip.block, why=why_set_aside(slip))
        case VisitsContradict(visits):
            where = visits[0].block or visits[0].cultivar
            told = listed(
                [_("{found} on {date}", found=_found(visit), date=exact_date(visit.date)) for visit in visits]
            )
            return _(
                "Visits to {block} contradict each other: {visits}. Caps don't go back on, so not all of them are "
                "right, and the days of its stages are held wider. Correct or delete the one that is wrong in the list "
                "of visits.",
                block=where,
                visits=told,
            )
        case LogAgainstVisits():
            return _against(caution) + " " + _("Correct or delete the one that is wrong.")
        case PastLogAgainstVisits(newest, others):
            again = ngettext(
                "So it is {count} more time in the seasons of the fit.",
                "So it is {count} more times in the seasons of the fit.",
                others,
            )
            more = f" {again}" if others else ""
            return f"{_against(newest)}{more} " + _("Correct or delete the one that is wrong, and fit again.")
        case ObservationFarOff(block, stage, day, had_come, days_later):
            seen = exact_stage(stage) if had_come else _("{stage} not yet", stage=exact_stage(stage))
            values = {"block": block, "seen": seen, "date": exact_date(day), "days": str(abs(days_later))}
            if days_later > 0:
                said = _("{block}, {seen} on {date}: {days} days later than fit and weather say.", **values)
            else:
                said = _("{block}, {seen} on {date}: {days} days earlier than fit and weather say.", **values)
            taken = _(
                "It is taken as it is, and moves other blocks too. If it is wrong, correct or delete it in the list of "
                "visits or in the bloom log."
            )
            return f"{said} {taken}"
        case BlocksFrosted(season, blocks):
            return _(
                "Marked as frosted in {season}: {blocks}. Bloom there is drawn later and longer, what is seen there "
                "does not sharpen the dates of other blocks, and its pollen is not counted on (where some shoots are "
                "left, in so many cases).",
                season=season,
                blocks=listed(blocks),
            )
        case SeasonInFit(season):
            return _(
                "The fit was made with season {season} itself, so these dates say little about how good its forecasts "
                "are; to judge that, use a fit that excludes the season.",
                season=season,
            )
        case FitImported():
            return _(
                "The thresholds come from another grower's fit: station, site and way of looking differ. Compare them "
                "with visits of your own."
            )
        case FitOfOtherVineyards(vineyards):
            return ngettext(
                "The thresholds come from vineyard {vineyards}: nothing that was seen here is in the fit, and site and "
                "way of looking differ. Compare them with visits of your own.",
                "The thresholds come from vineyards {vineyards}: nothing that was seen here is in the fit, and site "
                "and way of looking differ. Compare them with visits of your own.",
                len(vineyards),
                vineyards=listed(vineyards),
            )
        case FitBehind(rows, seasons):
            return ngettext(
                "Bloom log and visits have {count} row of {seasons} that the fit in use has not seen (new, changed or "
                "deleted since); fit again.",
                "Bloom log and visits have {count} rows of {seasons} that the fit in use has not seen (new, changed or "
                "deleted since); fit again.",
                rows,
                seasons=ngettext("{count} season", "{count} seasons", seasons),
            )
        case StationChangeNotInFit():
            return _(
                "The days on which the station was changed were told, or corrected, after the fit was made: it puts "
                "seasons together that are not alike. Fit again."
            )
        case FewSeasonsOfCultivars(cultivars):
            return _(
                "Few seasons of {cultivars} are known: their thresholds lean on the other cultivars'.",
                cultivars=listed(cultivars),
            )
        case CultivarsUnknown(cultivars):
            return _(
                "No forecast for {cultivars}: not in the fit, and of another species than all that are.",
                cultivars=listed(cultivars),
            )
        case CultivarsOfGroup(cultivars):
            return _(
                "No season of {cultivars} is in the fit: the dates are those of the other cultivars of the species, "
                "and as wide as these differ. A season of its own, or a cultivar that it blooms like (blooms_like, "
                "days_later), makes them narrower.",
                cultivars=listed(cultivars),
            )
        case SpeciesUnknown(cultivars):
            return _(
                "No season of {cultivars} is in the fit, and whether the cultivars there are of the same species is "
                "not recorded: the dates are held wide, as one of another species may bloom weeks apart. Record the "
                "species of all of them.",
                cultivars=listed(cultivars),
            )
        case LikeUnknown(cultivar, like):
            return _(
                "{cultivar} is said to bloom like {like}, but no season of {like} is in the fit: it does not count.",
                cultivar=cultivar,
                like=like,
            )
        case StagesLacking(stages):
            return _(
                "The fit lacks {stages}. What rests on that is not known and not told: pollen cover over time, frost "
                "until the end of bloom, the days of some scouting tasks. Log all three bloom stages, or make a fit "
                "with them.",
                stages=", ".join(exact_stage(stage) for stage in stages),
            )
        case FlowerDaysAssumed(receptive_days, pollen_days):
            return _(
                "Assumed, without a source: a flower is receptive for {receptive} days and an anther sheds pollen for "
                "{pollen} days from capfall.",
                receptive=receptive_days,
                pollen=pollen_days,
            )
        case OwnFlowerDays(cultivars):
            return _(
                "Receptive or pollen days of their own are set for {cultivars}.", cultivars=listed(cultivars)
            )
        case ReachAssumed(reach_m):
            return _(
                "Pollen is taken to reach {reach}; by default 50 ft, which is common practice.",
                reach=f"{reach_m:g} m" if not reading().us else length_words(reach_m),
            )
        case OtherPollenUnknown("none"):
            return _(
                "Only listed sources are counted. You said that no wild males stand nearby; neighbours' vines shed "
                "pollen too."
            )
        case OtherPollenUnknown("some"):
            return _(
                "Only listed sources are counted. You said that some wild males stand nearby: their pollen may cover "
                "days that are called uncovered here, so warnings are less certain than their chance says. No source "
                "says how much they give, so no gap is left out for them. Set counts show it."
            )
        case OtherPollenUnknown("many"):
            return _(
                "Only listed sources are counted. You said that many wild males stand nearby: their pollen may cover "
                "days that are called uncovered here, so warnings are less certain than their chance says. No source "
                "says how much they give, so no gap is left out for them. Set counts show it."
            )
        case OtherPollenUnknown():
            # wild males near vineyards: second-hand
            return _(
                "Only listed sources are counted: wild vines, many of them male, and neighbours' vines shed pollen "
                "too, and are not known here. Flowers without a listed source may still set."
            )
        case PollenMayNotLack():
            # Gupton (1998), Reproductive efficiency in muscadine grapes, USDA-ARS, read as abstract.
            return _(
                "The case against these warnings: a study of the USDA-ARS (Gupton 1998) concluded that pollination may "
                "not be a problem in present cultivars. Count flowers before bloom and berries after it, and let set "
                "decide."
            )
        case SetOnTheseVines("explains", set_without, set_with, blocks, seasons):
            return _(
                "On these vines cover explains set ({blocks} blocks in {seasons} seasons counted): without cover "
                "{without} of the flowers would set, with full cover {full}. So that pollen matters here is counted, "
                "not assumed; that it is the cause is likely, not proven.",
                blocks=blocks,
                seasons=seasons,
                without=percent(set_without),
                full=percent(set_with),
            )
        case SetOnTheseVines("against", _without, _full, blocks, seasons):
            return _(
                "Set was counted on these vines ({blocks} blocks in {seasons} seasons): blocks with more cover set "
                "less, which speaks against the warnings.",
                blocks=blocks,
                seasons=seasons,
            )
        case SetOnTheseVines(_verdict, _without, _full, blocks, seasons):
            return _(
                "Set was counted on these vines ({blocks} blocks in {seasons} seasons): it is not shown that cover "
                "explains it. That pollen matters here stays an assumption.",
                blocks=blocks,
                seasons=seasons,
            )
        case FrostDamageUnknown():
            # Snyder & de Melo-Abreu (2005), Frost protection, FAO, table 4.8, second-hand: one American cultivar, 10 %
            # kill at its second to fourth leaf; -2.8 °C at the first leaf, -3.9 °C at bud burst. The trade knows no
            # limits for muscadine.
            return _(
                "Which temperatures damage muscadine is not known. Limits by stage exist for other grapes only: a "
                "table of the FAO, seen second-hand, puts -2.2 °C for a kill of 10 % in one cultivar at its second to "
                "fourth leaf. Cold air also settles below the station's height and in hollows."
            )
        case FrostLimitsGiven(source):
            return _(
                "Chances of frost by stage rest on limits that you gave ({source}). No source has limits of muscadine: "
                "those of other grapes may not hold, so keep to local practice, and ask the local extension office.",
                source=source,
            )
        case CordonsColder(least_c, most_c):
            steps = [
                f"{each:g} °C ({fahrenheit_steps_from_celsius_steps(each):g} °F)"
                for each in (least_c, most_c)
            ]
            by = steps[0] if least_c == most_c else _("{low} to {high}", low=steps[0], high=steps[1])
            return _(
                "On any night of frost cordons are taken to be colder than the station by {by}, as you told. Calm, "
                "clear nights differ by more, windy ones by less.",
                by=by,
            )
        case FrostCame():
            # common practice, no source
            return _(
                "A frost night came after budbreak. Where shoots froze, bloom comes from secondary buds: later, and "
                "longer, than the thresholds know. Walk those blocks, and mark the ones that froze so that the fit "
                "does not learn from them."
            )
        case LayoutsDisagree():
            return _(
                "The published layouts disagree (from every third vine in every third row to one vine for eight, and "
                "in a single row every third or every fourth vine), and none of them looks at when cultivars bloom."
            )
        case LayoutOnly("no_fit"):
            return _(
                "Without a fit in use, only the layout was checked: how far pollen reaches, not whether blooms meet. "
                "Cover in past seasons, and what would help, needs a fit."
            )
        case LayoutOnly():
            return _("No past season has temperatures complete enough: only the layout was checked.")
        case PastCoverAsNoted():
            return _(
                "Cover in a past season follows the dates that were noted of a block in it. Blocks of which nothing "
                "was noted then are taken to bloom alike, by their cultivar, the season and its weather."
            )
        case CoverByCultivar():
            return _(
                "Cover in past seasons is the part of the weather and the season: all vines of a cultivar are taken to "
                "bloom alike, wherever they will stand."
            )
        case EnoughAssumed(share):
            return _(
                "That {share} of a bloom are enough is an assumption; no source states a threshold.",
                share=percent(share),
            )
        case KeepToLabels():
            return _(
                "Bloom dates are forecasts with an error: keep to product labels and local rules on sprays in bloom, "
                "and ask the local extension office."
            )
    assert_never(caution)


def _against(told: LogAgainstVisits) -> str:
    looks = [
        *([] if told.not_yet is None else [_("not yet on {date}", date=exact_date(told.not_yet))]),
        *([] if told.come is None else [_("come by {date}", date=exact_date(told.come))]),
    ]
    said = _(
        "{block}, {stage}: the bloom log says {date}, the visits say {visits}.",
        block=told.place,
        stage=exact_stage(told.stage),
        date=exact_date(told.logged),
        visits=listed(looks),
    )
    taken = _("The visits are taken.") if told.visits_count else _("The log is taken.")
    return f"{said} {taken}"


def _found(visit: Visit) -> str:
    found = f"BBCH {visit.bbch}" if visit.percent_open is None else f"{visit.percent_open:g} %"
    return found if visit.observer is None else f"{found} ({visit.observer})"
