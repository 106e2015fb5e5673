"""Cultivars without a season: the group's thresholds, how sure they are, and what an offset adds."""

from __future__ import annotations

import dataclasses
import datetime as dt

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from models.bloom.forecast import Forecast, forecast
from models.bloom.mixed_model import Gaussian, Spread
from models.bloom.newcomers import OFFSET_DAYS, OTHER_SPECIES_DAYS, with_newcomers
from models.bloom.site import Site
from models.bloom.thresholds import Fit, fit_thresholds
from models.records import Block, Cultivar, FlowerType, HeatRule, StageInterval
from models.units import FloatArray
from tests.bloom.noted import logged
from tests.bloom.simulated import HEAT_A_DAY, day, spread_over_stages
from tests.bloom.test_forecast import BLOCKS, CULTIVARS, LOOKS, RECORD, STAGES

SPECIES = "Vitis exempli"
EVERY = dict.fromkeys(CULTIVARS, SPECIES)
BETWEEN = spread_over_stages(60.0, 0.9, 2)
Z80 = 1.2815515655446004  # central 80 % of a normal


def cultivar(
    key: str, *, like: str | None = None, later: float | None = None, species: str | None = SPECIES
) -> Cultivar:
    return Cultivar(
        key, key, FlowerType.PERFECT, viable_pollen=True, species=species, blooms_like=like, days_later=later
    )


def known_fit(theta: FloatArray, error: float = 1e-3) -> Fit:
    """A fit that knows these thresholds (cultivar, stage), give or take an error of its own. [°C·day]"""
    cultivars, stages = theta.shape
    size = cultivars * stages
    own = error**2 * np.eye(size)
    return Fit(
        rule=HeatRule(),
        gap_rule="fill_short",
        stages=("bloom_start", "full_bloom")[:stages],
        cultivars=tuple(f"known-{number}" for number in range(cultivars)),
        thresholds=Gaussian(theta, own.reshape(cultivars, stages, cultivars, stages)),
        pooled_share=np.zeros((cultivars, stages)),
        seasons_seen=np.full((cultivars, stages), 9, dtype=np.int64),
        spread=Spread(BETWEEN[:stages, :stages], BETWEEN[:stages, :stages], BETWEEN[:stages, :stages], 0.3),
        season_evidence=(),
        calibration=np.ones(stages),
        set_aside=(),
        heat_a_day=np.full(stages, HEAT_A_DAY),
        species=(SPECIES,) * cultivars,
    )


def test_the_groups_mean_and_the_scatter_around_a_mean_that_is_not_known_exactly() -> None:
    theta = np.array([[600.0, 700.0], [640.0, 760.0], [680.0, 790.0], [560.0, 690.0]])
    joined = with_newcomers(known_fit(theta), [cultivar("new"), cultivar("other")])
    assert joined.cultivars[4:] == ("new", "other")
    assert_allclose(joined.thresholds.mean[4], theta.mean(axis=0), rtol=1e-9)
    covariance = joined.thresholds.covariance
    assert_allclose(covariance[4, :, 4, :], BETWEEN * (1 + 1 / 4), rtol=1e-6)
    # what is not known of the mean is shared by all newcomers
    assert_allclose(covariance[4, :, 5, :], BETWEEN / 4, rtol=1e-5)
    assert_array_equal(joined.thresholds.mean[:4], theta)
    assert joined.newcomers[0].group == joined.cultivars[:4]


def test_an_error_that_known_thresholds_share_is_the_newcomers_too() -> None:
    fit = known_fit(np.full((3, 1), 600.0))
    shared = np.full((3, 1, 3, 1), 400.0) + np.eye(3).reshape(3, 1, 3, 1)
    joined = with_newcomers(
        dataclasses.replace(fit, thresholds=Gaussian(fit.thresholds.mean, shared)), [cultivar("new")]
    )
    variance = float(BETWEEN[0, 0]) * (1 + 1 / 3) + 400 + 1 / 3
    assert_allclose(joined.thresholds.covariance[3, 0, 3, 0], variance, rtol=1e-9)
    assert_allclose(joined.thresholds.covariance[3, 0, 0, 0], 400 + 1 / 3, rtol=1e-9)


@pytest.mark.parametrize("offset", [False, True])
def test_simulated_newcomers_lie_within_80_percent_intervals_80_times_in_100(offset: bool) -> None:
    random = np.random.default_rng(8)
    repeats, inside, widths = 1500, 0, []
    factor = np.linalg.cholesky(BETWEEN)
    for _ in range(repeats):
        theta = 650 + random.standard_normal((6, 2)) @ factor.T
        told = (theta[5] - theta[0]) / HEAT_A_DAY + random.normal(0, OFFSET_DAYS)
        new = cultivar("new", like="known-0", later=float(told[0])) if offset else cultivar("new")
        joined = with_newcomers(known_fit(theta[:5]), [new])
        sd = joined.standard_error[5, 0]
        widths.append(2 * Z80 * sd / HEAT_A_DAY)
        inside += bool(abs(theta[5, 0] - joined.thresholds.mean[5, 0]) <= Z80 * sd)
    assert abs(inside / repeats - 0.8) < 3 * np.sqrt(0.8 * 0.2 / repeats)
    # T (1 + 1/5) alone: 6 days x sqrt(1.2); with an offset of 3 days' error: (1/43.2 + 1/9)^-1/2
    expected = np.sqrt(1 / (1 / 43.2 + 1 / 9)) if offset else np.sqrt(43.2)
    assert_allclose(widths, 2 * Z80 * expected, rtol=0.03)


def test_an_offset_draws_all_stages_and_counts_days_later() -> None:
    fit = known_fit(np.array([[600.0, 700.0], [640.0, 760.0]]))
    later = with_newcomers(fit, [cultivar("new", like="known-1", later=4.0)])
    level = with_newcomers(fit, [cultivar("new", like="known-1")])
    alone = with_newcomers(fit, [cultivar("new")])
    # weights of offset and group: V/(V + R) with V = 36 x 1.5, R = 9 [day²]
    share = 54 / (54 + 9)
    moved = later.thresholds.mean[2] - level.thresholds.mean[2]
    assert_allclose(moved, share * 4.0 * HEAT_A_DAY, rtol=1e-6)
    assert np.all(later.standard_error[2] < 0.5 * alone.standard_error[2])


def test_a_group_is_a_species_however_it_is_spelt() -> None:
    fit = known_fit(np.array([[500.0], [600.0], [640.0]]))
    fit = dataclasses.replace(fit, species=("Vitis alia", " vitis  Exempli", SPECIES))
    joined = with_newcomers(fit, [cultivar("new")])
    assert joined.newcomers[0].group == ("known-1", "known-2")
    assert_allclose(joined.thresholds.mean[3, 0], 620.0, rtol=1e-9)


def test_without_species_it_is_held_wide() -> None:
    fit = known_fit(np.array([[600.0, 700.0], [640.0, 760.0]]))
    told = with_newcomers(fit, [cultivar("new")])
    for untold in (
        with_newcomers(fit, [cultivar("new", species=None)]),
        with_newcomers(dataclasses.replace(fit, species=()), [cultivar("new")]),
    ):
        assert untold.newcomers[0].species is None
        more = untold.standard_error[2] ** 2 - told.standard_error[2] ** 2
        assert_allclose(more, (OTHER_SPECIES_DAYS * HEAT_A_DAY) ** 2, rtol=1e-6)
    # what is recorded today counts beside what the fit knows
    today = with_newcomers(
        dataclasses.replace(fit, species=()), [cultivar("new")], dict.fromkeys(fit.cultivars, SPECIES)
    )
    assert_array_equal(today.standard_error, told.standard_error)


def test_another_species_is_left_out_unless_an_offset_tells_of_it() -> None:
    fit = known_fit(np.array([[600.0], [640.0]]))
    assert with_newcomers(fit, [cultivar("new", species="Vitis alia")]) is fit
    joined = with_newcomers(fit, [cultivar("new", species="Vitis alia", like="known-1", later=2.0)])
    assert joined.newcomers[0].species is None
    assert_allclose(joined.thresholds.mean[2, 0], 660.0, atol=5.0)


def test_a_known_cultivar_stays_as_it_is() -> None:
    fit = known_fit(np.array([[600.0], [640.0]]))
    assert with_newcomers(fit, [cultivar("known-0", like="known-1", later=30.0)]) is fit
    unknown_like = with_newcomers(fit, [cultivar("new", like="elsewhere", later=9.0)])
    assert unknown_like.newcomers[0].like is None
    assert_array_equal(unknown_like.thresholds.mean, with_newcomers(fit, [cultivar("new")]).thresholds.mean)


@pytest.fixture(scope="module")
def fit() -> Fit:
    made = fit_thresholds([Site("here", 33.0, RECORD, logged(LOOKS))], stages=STAGES, rule=HeatRule())
    return with_newcomers(made, [cultivar("dogwood"), cultivar("elder")], EVERY)


def ask(
    fit: Fit, *looks: StageInterval, as_of: str = "2020-04-01", keys: tuple[str, ...] = ("dogwood",)
) -> Forecast:
    blocks = (*BLOCKS, *(Block(f"{key}-block", key, 0.0, 0.0) for key in keys))
    return forecast(fit, Site("here", 33.0, RECORD), blocks, as_of=day(as_of), told=looks, draws=400)


def seen(key: str, stage: str, by: str) -> StageInterval:
    return StageInterval(2020, key, f"{key}-block", stage, day(by) - dt.timedelta(days=1), day(by))


def width(found: Forecast, key: str, stage: str = "full_bloom") -> int:
    (block,) = [block for block in found.blocks if block.block == f"{key}-block"]
    told = block.stages[stage]
    assert told.low is not None
    assert told.high is not None
    return (told.high - told.low).days


def test_a_newcomer_has_dates_and_moves_no_other_date(fit: Fit) -> None:
    with_it, without = ask(fit), ask(fit_of_known(fit), keys=())
    assert with_it.blocks[:3] == without.blocks
    new = with_it.blocks[3]
    assert (new.basis, new.newcomer and new.newcomer.group) == ("group", CULTIVARS)
    assert {stage.status for stage in new.stages.values()} == {"expected"}
    assert width(with_it, "dogwood") > max(width(with_it, key) for key in CULTIVARS)


def fit_of_known(fit: Fit) -> Fit:
    """The fit before newcomers were added."""
    return fit_thresholds([Site("here", 33.0, RECORD, logged(LOOKS))], stages=STAGES, rule=fit.rule)


def test_what_is_seen_of_it_this_season_teaches_it_most_then_its_group_then_the_others(fit: Fit) -> None:
    both = ("dogwood", "elder")
    before = ask(fit, as_of="2020-04-12", keys=both)
    after = ask(fit, seen("dogwood", "bloom_start", "2020-04-11"), as_of="2020-04-12", keys=both)
    assert after.blocks[3].stages["bloom_start"].status == "observed"
    own, elder, alder = (
        (median(before, key) - median(after, key)).days for key in ("dogwood", "elder", "alder")
    )
    assert own >= 7  # three weeks early
    assert own > elder > alder >= 0


def median(found: Forecast, key: str) -> dt.date:
    (block,) = [block for block in found.blocks if block.block == f"{key}-block"]
    told = block.stages["full_bloom"].median
    assert told is not None
    return told


def test_the_season_is_shared_with_the_others(fit: Fit) -> None:
    """Draws of a newcomer go together with those of the known: what the vineyard shares cancels out of overlap."""
    known_weather = ask(fit, as_of="2020-12-01")
    days = known_weather.draws["day"].sel(stage="full_bloom")
    pair = np.corrcoef(days.sel(block="alder-block"), days.sel(block="dogwood-block"))[0, 1]
    assert pair > 0.2
