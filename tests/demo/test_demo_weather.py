"""The demo's files are what the script makes, hold the faults they are built to hold, and bloom in time."""

from __future__ import annotations

import csv
import datetime as dt
import math
from pathlib import Path
from statistics import fmean, median
from typing import NamedTuple

import numpy as np
import pytest

import demo_weather
from demo_weather import make_demo

BLOOM = ("bloom_start", "full_bloom", "bloom_end")
SLIPS = {(2017, "middle-5"), (2021, "west-3")}
CULTIVAR_OF = {block.key: block.cultivar for block in make_demo.BLOCKS}
WELL_COVERED = {
    "west-2": {"west-1", "west-3"},
    "middle-2": {"middle-1"},
    "middle-3": {"middle-1", "middle-4"},
    "middle-5": {"middle-4", "middle-6"},
}


class LogRow(NamedTuple):
    season: int
    block: str
    dates: dict[str, dt.date]
    checked_every_days: int


def _table(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(demo_weather.files()[name].decode().splitlines()))


def _log(*, with_slips: bool = False) -> list[LogRow]:
    rows = [
        LogRow(
            int(row["season"]),
            row["block"],
            {stage: dt.date.fromisoformat(row[stage]) for stage in make_demo.STAGES if row[stage]},
            int(row["checked_every_days"]),
        )
        for row in _table("bloom_log.csv")
    ]
    return [row for row in rows if with_slips or (row.season, row.block) not in SLIPS]


def test_script_makes_the_committed_files_byte_for_byte() -> None:
    assert make_demo.build() == demo_weather.files()


def test_write_puts_every_file_into_the_folder(tmp_path: Path) -> None:
    make_demo.write(tmp_path)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == demo_weather.files()


def test_another_seed_changes_all_but_the_planting(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(make_demo, "SEED", make_demo.SEED + 1)
    made = make_demo.build()
    changed = {name for name, content in demo_weather.files().items() if made[name] != content}
    assert changed == {"temperatures.csv", "outlook.csv", "bloom_log.csv", "visits.csv"}


def test_temperatures_run_to_the_day_before_as_of_with_eight_days_absent() -> None:
    dates = [dt.date.fromisoformat(row["date"]) for row in _table("temperatures.csv")]
    assert dates == sorted(set(dates))
    assert (dates[0], dates[-1]) == (dt.date(2012, 1, 1), demo_weather.AS_OF - dt.timedelta(days=1))
    days = (dates[0] + dt.timedelta(days=n) for n in range((dates[-1] - dates[0]).days))
    gap = [dt.date(2019, 4, day) for day in range(9, 15)]
    assert sorted(set(days) - set(dates)) == [dt.date(2016, 2, 11), *gap, dt.date(2023, 5, 3)]


def test_one_sentinel_and_otherwise_possible_temperatures() -> None:
    pairs = [(float(row["tmin_c"]), float(row["tmax_c"])) for row in _table("temperatures.csv")]
    assert [tmin for tmin, _ in pairs if tmin < -60] == [-99.9]
    real = [pair for pair in pairs if pair[0] > -60]
    assert all(tmin < tmax for tmin, tmax in real)
    assert -15 < min(tmin for tmin, _ in real) < 0  # some frost, as at 31 °N
    assert 35 < max(tmax for _, tmax in real) < 41


def test_outlook_is_the_seven_days_from_as_of_and_errs_a_little() -> None:
    rows = _table("outlook.csv")
    days = [demo_weather.AS_OF + dt.timedelta(days=n) for n in range(7)]
    assert [row["date"] for row in rows] == [day.isoformat() for day in days]
    assert all(float(row["tmin_c"]) < float(row["tmax_c"]) for row in rows)
    weather = make_demo.simulate_weather()
    truth = weather.tmax_c[np.isin(weather.dates, np.array(days, dtype="datetime64[D]"))]
    miss = [abs(float(row["tmax_c"]) - true) for row, true in zip(rows, truth, strict=True)]
    assert 0.1 < fmean(miss) < 3.0


@pytest.mark.parametrize(
    ("block", "viable", "not_viable"),
    [
        *((block, sources, set()) for block, sources in WELL_COVERED.items()),
        ("west-4", {"west-1", "west-3"}, set()),
        ("north-1", set(), set()),
        ("east-2", set(), {"east-1"}),
    ],
)
def test_each_pistillate_block_reaches_the_sources_it_was_given(
    block: str, viable: set[str], not_viable: set[str]
) -> None:
    rows = {row["block"]: row for row in _table("planting.csv")}
    here = rows[block]
    near = {
        key: row["viable_pollen"]
        for key, row in rows.items()
        if row["flower_type"] == "perfect"
        and math.hypot(float(row["x_m"]) - float(here["x_m"]), float(row["y_m"]) - float(here["y_m"]))
        <= demo_weather.VINEYARD.reach_m
    }
    assert here["flower_type"] == "pistillate"
    assert near == dict.fromkeys(viable, "yes") | dict.fromkeys(not_viable, "no")


def test_planting_has_the_flower_types_and_berries_it_needs() -> None:
    rows = _table("planting.csv")
    assert len({row["block"] for row in rows}) == len(rows) == 13
    cultivars = {row["cultivar"]: row for row in rows}
    perfect = [row for row in cultivars.values() if row["flower_type"] == "perfect"]
    assert len(cultivars) == 11
    assert len(perfect) == 5
    assert [row["cultivar"] for row in perfect if row["viable_pollen"] == "no"] == ["Pebble Loom"]
    assert [row["cultivar"] for row in perfect if float(row["berry_mass_g"]) >= 14] == ["Gourd Rafter"]


def test_early_sources_end_before_their_neighbour_in_every_season() -> None:
    ends = {(row.season, row.block): row.dates["bloom_end"] for row in _log() if "bloom_end" in row.dates}
    gaps = [
        (end - max(ends[season, source] for source in ("west-1", "west-3"))).days
        for (season, block), end in ends.items()
        if block == "west-4" and {(season, "west-1"), (season, "west-3")} <= ends.keys()
    ]
    assert len(gaps) >= 5
    assert min(gaps) >= 3


@pytest.mark.parametrize("block", WELL_COVERED)
def test_covered_blocks_bloom_within_their_sources(block: str) -> None:
    """In every season, this one too, give or take the two days that an anther sheds (40 °C·day in June)."""
    keys = list(CULTIVAR_OF)
    heat = make_demo.simulate_thresholds()[:, :, 1:]
    sources = heat[:, [keys.index(source) for source in WELL_COVERED[block]]]
    own = heat[:, keys.index(block)]
    assert np.all(sources[..., 0].min(axis=1) < own[:, 0] + 20.0)  # 10 % of a bloom opens before its start
    assert np.all(sources[..., 2].max(axis=1) + 40.0 > own[:, 2])


def test_log_covers_thirteen_seasons_but_not_every_block_and_date() -> None:
    log = _log(with_slips=True)
    assert {row.season for row in log} == set(range(2013, 2026))
    assert {row.block for row in log} == set(CULTIVAR_OF)
    assert len({(row.season, row.block) for row in log}) == len(log) < 13 * 13
    assert any(len(row.dates) < 4 for row in log)
    assert {row.checked_every_days for row in log} == {3, 4}


def test_log_holds_one_row_out_of_order_and_one_date_a_month_off() -> None:
    log = _log(with_slips=True)
    shuffled = [row for row in log if list(row.dates.values()) != sorted(row.dates.values())]
    assert [(row.season, row.block) for row in shuffled] == [(2021, "west-3")]
    to_full = {
        (row.season, row.block): (row.dates["full_bloom"] - row.dates["bloom_start"]).days
        for row in log
        if {"full_bloom", "bloom_start"} <= row.dates.keys()
    }
    slip = to_full.pop((2017, "middle-5"))
    assert 31 <= slip <= 31 + max(to_full.values())
    assert max(to_full.values()) <= 12


def test_visits_say_not_yet_and_see_only_the_earliest_block_start() -> None:
    visits = _table("visits.csv")
    assert all(dt.date.fromisoformat(row["date"]) < demo_weather.AS_OF for row in visits)
    started = [(row["block"], int(row["percent_open"])) for row in visits if int(row["percent_open"]) >= 10]
    assert [block for block, _ in started] == ["west-1"]
    assert started[0][1] < 20
    shut = [row["percent_open"] for row in visits if row["note"] in {"buds tight", "no caps off yet"}]
    assert len(shut) >= 6
    assert set(shut) == {"0"}


def test_caps_off_at_the_stages_are_the_stages_own_percentages() -> None:
    thresholds = np.array([250.0, 800.0, 860.0, 950.0])
    assert [make_demo.percent_open(heat, thresholds) for heat in thresholds[1:]] == [10, 50, 95]


def test_bloom_is_two_thirds_through_in_the_second_week_of_june() -> None:
    """Of muscadine in the deep South: common practice, no source."""
    passed = []
    days = np.arange(121, 211)
    for season in make_demo.PAST_SEASONS:
        shares = []
        for row in _log():
            if row.season == season and set(BLOOM) <= row.dates.keys():
                start, full, end = (row.dates[stage].timetuple().tm_yday for stage in BLOOM)
                knots = [start - 4, start, full, end, end + 4]
                shares.append(np.interp(days, knots, [0, 10, 50, 95, 100]))
        day = int(days[np.argmax(np.mean(shares, axis=0) > 200 / 3)])
        passed.append((dt.date(season, 1, 1) + dt.timedelta(days=day - 1)).replace(year=2025).toordinal())
    assert dt.date(2025, 6, 5).toordinal() <= fmean(passed) <= dt.date(2025, 6, 17).toordinal()


def test_bloom_runs_from_mid_may_to_late_june() -> None:
    """The middle season of thirteen, by its first start and its last end: common practice, no source."""
    log = _log()
    first, last = [], []
    for season in make_demo.PAST_SEASONS:
        rows = [row.dates for row in log if row.season == season]
        first.append(min(dates["bloom_start"] for dates in rows if "bloom_start" in dates).replace(year=2025))
        last.append(max(dates["bloom_end"] for dates in rows if "bloom_end" in dates).replace(year=2025))
    assert dt.date(2025, 5, 12) <= sorted(first)[6] <= dt.date(2025, 5, 24)
    assert dt.date(2025, 6, 18) <= sorted(last)[6] <= dt.date(2025, 6, 30)


def test_a_block_blooms_for_nine_to_fourteen_days() -> None:
    lengths: dict[str, list[int]] = {}
    for row in _log():
        if {"bloom_start", "bloom_end"} <= row.dates.keys():
            days = (row.dates["bloom_end"] - row.dates["bloom_start"]).days
            lengths.setdefault(CULTIVAR_OF[row.block], []).append(days)
    assert min(median(days) for days in lengths.values()) >= 8
    assert max(median(days) for days in lengths.values()) <= 15


@pytest.mark.parametrize("stage", make_demo.STAGES)
def test_log_gives_the_true_thresholds_back(stage: str) -> None:
    """Heat at the middle of each interval lies around TRUTH, once what a season shares is taken out."""
    weather = make_demo.simulate_weather()
    misses: dict[int, dict[str, float]] = {}
    for row in _log():
        if stage in row.dates:
            seen = row.dates[stage].timetuple().tm_yday - 1
            heat = weather.heat(row.season)[[seen - row.checked_every_days, seen]].mean()
            misses.setdefault(row.season, {})[row.block] = (
                heat - make_demo.TRUTH[CULTIVAR_OF[row.block]][stage]
            )
    season_effects = {season: fmean(of_blocks.values()) for season, of_blocks in misses.items()}
    assert abs(fmean(season_effects.values())) < 3 * 28.0 / math.sqrt(13)
    by_cultivar: dict[str, list[float]] = {}
    for season, of_blocks in misses.items():
        for block, miss in of_blocks.items():
            by_cultivar.setdefault(CULTIVAR_OF[block], []).append(miss - season_effects[season])
    for own in by_cultivar.values():
        assert abs(fmean(own)) < 4 * 20.0 / math.sqrt(len(own))
