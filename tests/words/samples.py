"""One of every code that has words, and the look of what is said of it."""

from __future__ import annotations

import datetime as dt
from typing import get_args

from models.bloom import cautions as dates
from models.bloom.rule_choice import NearestToDefault, TooFewToChoose, WhyRule
from models.bloom.set_aside import (
    BeforeHeat,
    DaysMissing,
    DaysUnknown,
    FarFromOthers,
    NoOtherSeason,
    NotEnclosed,
    OutOfOrder,
    SetAside,
    WhySetAside,
)
from models.records import FlowerType, Visit
from models.vineyard import block_check, cautions, layout_rules, pollen_warnings, scouting, scouting_tasks
from models.vineyard.reach import NamedBlock

DAY, LATER = dt.date(2026, 5, 4), dt.date(2026, 5, 9)
BLOCK, SOURCE, OTHER = NamedBlock("b1", "Dewlight"), NamedBlock("b7", "Tinderling"), NamedBlock("b8", "Hush")

WHY_RULE: tuple[WhyRule, ...] = (
    TooFewToChoose(5, 8),
    NearestToDefault(5, 72, 31, 0.02, 0.13, 0.05),
)
WHY_SET_ASIDE: tuple[WhySetAside, ...] = (
    OutOfOrder(DAY, True, "full_bloom", LATER, False),
    BeforeHeat(DAY),
    DaysMissing(7, DAY, LATER),
    DaysUnknown(DAY),
    NotEnclosed(),
    FarFromOthers(-12.4),
    NoOtherSeason("dewlight"),
)
CAUTIONS: tuple[cautions.Caution, ...] = (
    dates.NoTemperaturesYet(2026, DAY),
    dates.TemperaturesEnd(DAY),
    dates.TemperaturesFilled(DAY, LATER),
    dates.FewSeasonsOfWeather(4),
    dates.FewSeasonsOfBloom(2),
    dates.FitUnsettled(),
    dates.SeasonUnsettled(),
    dates.UnusualSeason("full_bloom", 11.6),
    dates.ObservationSetAside(SetAside(2026, "b1", "full_bloom", FarFromOthers(14.0))),
    dates.VisitsContradict(
        (Visit(DAY, "dewlight", "b1", 60.0), Visit(LATER, "dewlight", "b1", None, 57, "Wren"))
    ),
    dates.LogAgainstVisits("b1", "bloom_end", DAY, LATER, None, visits_count=False),
    dates.PastLogAgainstVisits(
        dates.LogAgainstVisits("b1", "bloom_end", DAY, LATER, None, visits_count=False), 1
    ),
    dates.ObservationFarOff("b1", "bloom_end", LATER, had_come=False, days_later=40),
    dates.BlocksFrosted(2026, ("b1", "b2")),
    dates.SeasonInFit(2026),
    dates.FitImported(),
    dates.FitOfOtherVineyards(("hollow", "ridge")),
    dates.FitBehind(3, 1),
    dates.StationChangeNotInFit(),
    dates.FewSeasonsOfCultivars(("dewlight", "hush")),
    dates.CultivarsUnknown(("dewlight",)),
    dates.CultivarsOfGroup(("dewlight", "hush")),
    dates.SpeciesUnknown(("dewlight",)),
    dates.LikeUnknown("dewlight", "hush"),
    dates.NorthAssumed(),
    dates.DailyLooksAssumed(None),
    dates.DailyLooksAssumed(7),
    dates.KeepToLabels(),
    cautions.StagesLacking(("bloom_start", "bloom_end")),
    cautions.FlowerDaysAssumed(3, 2),
    cautions.OwnFlowerDays(("dewlight",)),
    cautions.ReachAssumed(15.0),
    cautions.OtherPollenUnknown(),
    cautions.OtherPollenUnknown("none"),
    cautions.OtherPollenUnknown("many"),
    cautions.PollenMayNotLack(),
    cautions.SetOnTheseVines("explains", 0.12, 0.31, 24, 8),
    cautions.SetOnTheseVines("not_shown", 0.2, 0.22, 24, 8),
    cautions.SetOnTheseVines("against", 0.3, 0.2, 24, 8),
    cautions.FrostDamageUnknown(),
    cautions.FrostLimitsGiven("sheet-12"),
    cautions.CordonsColder(1.5, 1.5),
    cautions.CordonsColder(-0.5, 2.0),
    cautions.FrostCame(),
    cautions.LayoutsDisagree(),
    cautions.LayoutOnly("no_fit"),
    cautions.PastCoverAsNoted(),
    cautions.CoverByCultivar(),
    cautions.EnoughAssumed(0.8),
)
WARNED: tuple[pollen_warnings.Warned, ...] = (
    pollen_warnings.SourceEndsFirst(SOURCE, 2, DAY, 5, 0.36),
    pollen_warnings.SourceStartsLate(SOURCE, 1, LATER, 5, 0.25),
    pollen_warnings.GapBetweenSources(0.45),
    pollen_warnings.NoSourceInReach(15.0, by_list=False),
    pollen_warnings.NoneViable((SOURCE,), (OTHER,)),
    pollen_warnings.VinesOutOfReach(3, 10, 15.24),
    pollen_warnings.OnlySource(SOURCE),
    pollen_warnings.MainSource(SOURCE, 0.6),
    pollen_warnings.BloomNotForecast(),
    pollen_warnings.BloomNotForecast(("bloom_end",)),
    pollen_warnings.BloomUnfinished(),
    pollen_warnings.SourcesNotForecast((SOURCE,), all_of_them=True),
    pollen_warnings.SourcesFrosted((SOURCE,)),
    pollen_warnings.SourcesFrostedInPart((SOURCE, OTHER), (0.6, 0.75)),
)
LOOKS: tuple[scouting_tasks.Look, ...] = (
    scouting_tasks.FlowerCount(),
    scouting_tasks.FirstCaps(),
    scouting_tasks.FlowerTypeCheck(FlowerType.PERFECT),
    scouting_tasks.PollenOverlap((SOURCE,)),
    scouting_tasks.SetCount(),
    scouting_tasks.CropLoad(),
    scouting_tasks.CropLoad(self_fertile=True, berry_mass_g=12.0),
    scouting_tasks.Ripeness(),
)
MISSED: tuple[scouting.Missed, ...] = (
    scouting.TooLate(),
    scouting.NoDate(("bloom_end",)),
    scouting.TooFewTrips(2),
    scouting.WrongWeekdays(DAY, LATER, (0, 4)),
)
MEASURED: tuple[layout_rules.Measured, ...] = (
    layout_rules.NotApplicable("needs_rows"),
    layout_rules.SourceRows(3, outside=True),
    layout_rules.SourceVinesInRows(2, 2),
    layout_rules.SourceShare(0.3, more_than_asked=True),
    layout_rules.SourceCultivars(1),
    layout_rules.BusiestSource(9, 3),
    layout_rules.SourceVinesInRow(4),
)
WHY_EXPOSED: tuple[block_check.WhyExposed, ...] = (
    block_check.NoViableSource(),
    block_check.CultivarNotInFit("dewlight"),
    cautions.StagesLacking(("bloom_end",)),
    block_check.SourcesNotInFit(("hush", "tinderling")),
    block_check.SeldomCovered(0.8, 2, 9, ("hush",)),
)


def members(union: object) -> set[type]:
    """The classes of a union."""
    return set(get_args(union))
