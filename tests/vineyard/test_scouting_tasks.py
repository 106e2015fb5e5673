"""Scouting tasks: which ones a block calls for, on which days, and which are done."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

import numpy as np
import pytest
import xarray as xr

from models.errors import BadInput
from models.records import Block, CropCount, Cultivar, FlowerType, Planting, StageInterval, Visit
from models.records import SetCount as Counted
from models.vineyard.reach import NamedBlock
from models.vineyard.scouting import Task, TaskKind, Window, scouting_tasks, tasks_done
from models.vineyard.scouting_tasks import CropLoad, FlowerTypeCheck, PollenOverlap, Ripeness, counts_made

DEW = Cultivar("dew", "Dewlight", FlowerType.PISTILLATE, viable_pollen=False, berry_mass_g=15.0)
TINDERLING = Cultivar("tinderling", "Tinderling", FlowerType.PERFECT, viable_pollen=True, berry_mass_g=6.5)
HEDGE = Cultivar("hedge", "Hedge vines", FlowerType.STAMINATE, viable_pollen=True, berry_mass_g=15.0)
B1, B7 = Block("b1", "dew", 0.0, 0.0), Block("b7", "tinderling", 9.0, 0.0)

Bloom = tuple[float, float, float]
NEVER = (np.nan, np.nan, np.nan)
USUAL = (150.0, 154.0, 159.0)  # day 0 is 1 January 2026, so day 151 is 1 June


def planting(*blocks: Block, cultivars: Sequence[Cultivar] = (DEW, TINDERLING, HEDGE)) -> Planting:
    return Planting(blocks, {cultivar.key: cultivar for cultivar in cultivars})


def draws_of(blooms: Mapping[str, Sequence[Bloom]]) -> xr.Dataset:
    return xr.Dataset(
        {"day": (("block", "draw", "stage"), np.array(list(blooms.values())))},
        coords={"block": list(blooms), "stage": ["bloom_start", "full_bloom", "bloom_end"]},
        attrs={"season_start": "2026-01-01"},
    )


def day(number: int) -> dt.date:
    return dt.date(2026, 1, 1) + dt.timedelta(days=number)


def kinds(tasks: Sequence[Task], block: str) -> list[TaskKind]:
    return [task.task for task in tasks if task.block == block]


def only(tasks: Sequence[Task], block: str, kind: TaskKind) -> Task:
    (task,) = (task for task in tasks if (task.block, task.task) == (block, kind))
    return task


@pytest.mark.parametrize(
    ("kind", "first", "last"),
    [
        ("flower_count", 143, 150),  # the week up to 150
        ("first_caps", 148, 152),  # two days to either side of 150
        ("flower_type", 150, 156),  # from 150 until (154 + 159) / 2 = 156.5
        ("pollen_overlap", 152, 156),  # from (150 + 154) / 2
        ("set_count", 166, 180),  # 159 + 7 to 159 + 21
        ("crop_load", 173, 194),  # 159 + 14 to 159 + 35
    ],
)
def test_days_of_each_task_where_the_bloom_is_known(kind: TaskKind, first: int, last: int) -> None:
    tasks = scouting_tasks(planting(B1, B7), draws_of({"b1": [USUAL] * 4, "b7": [USUAL] * 4}))
    task = only(tasks, "b1", kind)
    assert task.window == Window(day(first), day(last))
    assert task.chance_on == dict.fromkeys(map(day, range(first, last + 1)), 1.0)


def test_a_day_is_good_from_the_asked_chance_on() -> None:
    # First caps can be seen on 148-152, 149-153, 150-154, 160-164: in 3 of 4 draws on 150-152, 2 of 4 on 149, 153.
    starts = [(start, start + 4, start + 9) for start in (150.0, 151.0, 152.0, 162.0)]
    draws = draws_of({"b1": starts})
    half = only(scouting_tasks(planting(B1), draws, chance=0.5), "b1", "first_caps")
    assert half.chance_on == {day(149): 0.5, day(150): 0.75, day(151): 0.75, day(152): 0.75, day(153): 0.5}
    most = only(scouting_tasks(planting(B1), draws, chance=0.7), "b1", "first_caps")
    assert most.window == Window(day(150), day(152))


def test_early_in_the_season_a_task_takes_the_days_near_its_best() -> None:
    starts = [(start, start + 4, start + 9) for start in (140.0, 150.0, 151.0, 160.0)]
    task = only(scouting_tasks(planting(B1), draws_of({"b1": starts}), chance=0.8), "b1", "first_caps")
    assert task.chance_on == dict.fromkeys(map(day, range(149, 153)), 0.5)


def test_draws_that_never_bloom_lower_the_chance_and_under_half_leave_no_task() -> None:
    task = only(scouting_tasks(planting(B1), draws_of({"b1": [USUAL] * 3 + [NEVER]})), "b1", "set_count")
    assert set(task.chance_on.values()) == {0.75}
    assert scouting_tasks(planting(B1), draws_of({"b1": [USUAL] + [NEVER] * 3})) == ()
    assert kinds(scouting_tasks(planting(B1), draws_of({"b1": [USUAL, NEVER]})), "b1") != []
    assert kinds(scouting_tasks(planting(B1, B7), draws_of({"b7": [USUAL]})), "b1") == []


def test_without_a_forecast_of_later_stages_nothing_after_it_is_left() -> None:
    draws = draws_of({"b1": [USUAL]}).sel(stage=["bloom_start"])
    assert kinds(scouting_tasks(planting(B1), draws), "b1") == ["flower_count", "first_caps"]


def test_which_tasks_a_block_calls_for() -> None:
    hedge = Block("h", "hedge", 100.0, 0.0)
    alone = Block("b2", "dew", 200.0, 0.0)
    tasks = scouting_tasks(
        planting(B1, B7, hedge, alone), draws_of({key: [USUAL] for key in ("b1", "b7", "h", "b2")})
    )
    assert kinds(tasks, "b1") == [
        "flower_count",
        "first_caps",
        "flower_type",
        "pollen_overlap",
        "set_count",
        "crop_load",
    ]
    assert kinds(tasks, "b7") == ["flower_count", "first_caps", "flower_type", "set_count", "crop_load"]
    assert kinds(tasks, "h") == ["first_caps", "flower_type"]  # male: no berries
    assert kinds(tasks, "b2") == [
        "flower_count",
        "first_caps",
        "flower_type",
        "set_count",
        "crop_load",
    ]  # no source in reach to look at
    assert only(tasks, "b1", "pollen_overlap").look == PollenOverlap((NamedBlock("b7", "Tinderling"),))
    assert only(tasks, "b1", "flower_type").look == FlowerTypeCheck(FlowerType.PISTILLATE)
    assert only(tasks, "b7", "flower_type").look == FlowerTypeCheck(FlowerType.PERFECT)


def test_sources_without_viable_pollen_are_not_looked_at() -> None:
    dud = Cultivar("tinderling", "Tinderling", FlowerType.PERFECT, viable_pollen=False)
    draws = draws_of({"b1": [USUAL]})
    assert "pollen_overlap" not in kinds(scouting_tasks(planting(B1, B7, cultivars=(DEW, dud)), draws), "b1")


@pytest.mark.parametrize("mass_g", [None, 6.5, 14.0])
@pytest.mark.parametrize("flower_type", [FlowerType.PERFECT, FlowerType.PISTILLATE])
def test_crop_load_is_looked_at_whatever_the_flowers_and_the_berries(
    flower_type: FlowerType, mass_g: float | None
) -> None:
    cultivar = Cultivar("tinderling", "Tinderling", flower_type, viable_pollen=True, berry_mass_g=mass_g)
    tasks = scouting_tasks(planting(B7, cultivars=(cultivar,)), draws_of({"b7": [USUAL]}))
    assert only(tasks, "b7", "crop_load").look == CropLoad(flower_type is FlowerType.PERFECT, mass_g)


def visit(
    number: int, block: str | None = "b1", percent: float | None = 20.0, bbch: int | None = None
) -> Visit:
    return Visit(day(number), "dew", block, percent_open=percent, bbch=bbch)


@pytest.mark.parametrize(
    ("visits", "done"),
    [
        ([visit(149)], {"flower_count", "first_caps"}),
        ([visit(151)], {"first_caps", "flower_type"}),
        ([visit(153, percent=60.0)], {"flower_type", "pollen_overlap"}),
        ([visit(170, percent=100.0)], {"set_count"}),
        ([visit(185, percent=100.0)], {"crop_load"}),
        ([visit(142), visit(158), visit(195)], set()),
        ([visit(151, percent=0.0)], set()),  # looked, but no flower was open
        ([visit(145, percent=0.0)], {"flower_count"}),  # clusters can be counted then
        ([visit(151, percent=None, bbch=57)], set()),
        ([visit(149, percent=None, bbch=60)], {"flower_count", "first_caps"}),
        ([visit(149, block=None)], {"flower_count", "first_caps"}),  # the whole cultivar
        ([visit(149, block="b2")], set()),
    ],
)
def test_a_visit_on_a_good_day_does_a_task(visits: list[Visit], done: set[TaskKind]) -> None:
    tasks = scouting_tasks(planting(B1, B7), draws_of({"b1": [USUAL], "b7": [USUAL]}))
    assert tasks_done(tasks, visits) == {("b1", kind) for kind in done}


def test_a_logged_date_does_a_task_but_budbreak_and_not_yet_do_not() -> None:
    tasks = scouting_tasks(planting(B1), draws_of({"b1": [USUAL]}))
    seen = StageInterval(2026, "dew", "b1", "bloom_start", day(147), day(149))
    assert tasks_done(tasks, [], [seen]) == {("b1", "flower_count"), ("b1", "first_caps")}
    budbreak = StageInterval(2026, "dew", "b1", "budbreak", day(147), day(149))
    not_yet = StageInterval(2026, "dew", "b1", "bloom_start", day(149), None)
    assert tasks_done(tasks, [], [budbreak, not_yet]) == frozenset()


@pytest.mark.parametrize("chance", [0.0, -0.1, 1.1, float("nan")])
def test_a_chance_out_of_range_is_refused(chance: float) -> None:
    with pytest.raises(BadInput, match="above 0"):
        scouting_tasks(planting(B1), draws_of({"b1": [USUAL]}), chance=chance)


def test_a_count_does_its_own_task_on_whatever_day() -> None:
    tasks = scouting_tasks(planting(B1), draws_of({"b1": [USUAL]}))
    flowers, berries = Counted(day(100), "b1", "1", flowers=40), Counted(day(200), "b1", "1", berries=9)
    assert counts_made([flowers], []) == {("b1", "flower_count")}
    assert counts_made([berries], [CropCount(day(201), "b2", "1", 12)]) == {
        ("b1", "set_count"),
        ("b2", "crop_load"),
    }
    done = tasks_done(tasks, [], counted=counts_made([flowers, berries], []))
    assert done == {("b1", "flower_count"), ("b1", "set_count")}


def test_ripeness_is_looked_at_in_the_ten_days_before_a_harvest_that_is_forecast() -> None:
    bloom = draws_of({"b1": [USUAL] * 4, "b7": [USUAL] * 4})
    harvest = xr.full_like(bloom["day"].isel(stage=[0]), 250.0).assign_coords(stage=["harvest"])
    harvest.loc[{"block": "b7"}] = np.nan  # after the season
    draws = xr.Dataset({"day": xr.concat([bloom["day"], harvest], "stage")}, attrs=bloom.attrs)
    tasks = scouting_tasks(planting(B1, B7), draws)
    (found,) = [task for task in tasks if task.task == "ripeness"]
    assert (found.block, found.look) == ("b1", Ripeness())
    assert (found.window.first_day, found.window.last_day) == (day(240), day(250))
    assert not [task for task in scouting_tasks(planting(B1, B7), bloom) if task.task == "ripeness"]
