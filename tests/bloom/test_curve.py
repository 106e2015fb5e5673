"""The bloom curve against known curves, against other ways to the same maximum, and on data that tell nothing."""

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.optimize import minimize
from scipy.special import expit, logit, xlogy

from models.bloom.curve import (
    FLOWERS_A_LOOK,
    PACE_SPREAD,
    CurveFit,
    CurvePoints,
    curve_points,
    fit_curves,
    sharpened,
    stage_points,
)
from models.bloom.observations import HeatIntervals, IntArray, heat_intervals
from models.bloom.site import Site
from models.records import DailyTemperatures, HeatRule, Unit, Visit
from models.stages import BLOOM_STAGES
from models.units import FloatArray

STAGE_LOGITS = logit(np.array([0.1, 0.5, 0.95]))
SLOPE = 0.043  # 10 to 95 % in 120 °C·day: ten days at 12 °C·day
HEAT_A_DAY = 12.0
RULE = HeatRule()


@dataclass(frozen=True, eq=False)
class Simulated:
    """Weekly looks at blocks with known curves; ``truth`` has the heat at 10, 50 and 95 %, shape (unit, 3)."""

    heat: FloatArray
    share: FloatArray
    unit: IntArray
    truth: FloatArray


def share_open(rng: np.random.Generator, logits: FloatArray, *, flowers: int) -> FloatArray:
    return np.asarray(rng.binomial(flowers, expit(logits)) / flowers, dtype=np.float64)


def simulate(
    rng: np.random.Generator, *, units: int, pace_spread: float = 0.0, flowers: int = 20
) -> Simulated:
    heats: list[FloatArray] = []
    shares: list[FloatArray] = []
    truth: list[FloatArray] = []
    while len(heats) < units:
        full = rng.normal(600, 30)
        slopes = SLOPE / np.maximum(1 + pace_spread * rng.normal(size=2), 0.2)
        heat: FloatArray = full - 250 + 7 * HEAT_A_DAY * (np.arange(6, dtype=np.float64) + rng.random())
        share = share_open(rng, (heat - full) * np.where(heat < full, *slopes), flowers=flowers)
        if np.any((share > 0) & (share < 1)):
            heats.append(heat)
            shares.append(share)
            truth.append(full + STAGE_LOGITS / slopes[[0, 0, 1]])
    unit = np.repeat(np.arange(units), 6)
    return Simulated(np.concatenate(heats), np.concatenate(shares), unit, np.array(truth))


def fitted(data: Simulated) -> CurveFit:
    fit = fit_curves(data.heat, data.share, data.unit)
    assert fit is not None
    return fit


def lines(fit: CurveFit) -> FloatArray:
    """Intercepts at heat 0, then the slope: what does not depend on where the heat is centred."""
    return np.append(fit.intercept - fit.slope * fit.centre, fit.slope)


def test_the_fit_is_statsmodels_own() -> None:
    """One row a look, with its share and its weight in flowers, on heat as it comes."""
    data = simulate(np.random.default_rng(1), units=6)
    design = np.column_stack([np.eye(6)[data.unit], data.heat])
    weight = np.full(data.heat.size, FLOWERS_A_LOOK)
    direct = sm.GLM(data.share, design, family=sm.families.Binomial(), var_weights=weight).fit()
    fit = fitted(data)
    np.testing.assert_allclose(lines(fit), direct.params, rtol=1e-5)
    np.testing.assert_allclose(np.sqrt(fit.covariance[-1, -1]), direct.bse[-1], rtol=1e-5)
    np.testing.assert_allclose(fit.scatter, direct.pearson_chi2, rtol=1e-5)
    points = -direct.params[2] / direct.params[-1]
    gradient = np.array([-1, -points]) / direct.params[-1]
    covariance = direct.cov_params()[np.ix_([2, 6], [2, 6])]
    heat, error = stage_points(fit, 2)
    np.testing.assert_allclose(heat[1], points, rtol=1e-6)
    np.testing.assert_allclose(error[1], np.sqrt(gradient @ covariance @ gradient), rtol=1e-4)
    np.testing.assert_allclose(stage_points(fit, 2, widened=4.0)[1][1], 2 * error[1], rtol=1e-12)


def test_the_fit_is_the_maximum_of_the_binomial_likelihood() -> None:
    data = simulate(np.random.default_rng(2), units=4)

    def loss(estimate: FloatArray) -> float:
        share = expit(estimate[data.unit] + estimate[-1] * (data.heat - 600) / 100)
        return -float(np.sum(xlogy(data.share, share) + xlogy(1 - data.share, 1 - share)))

    found = minimize(
        loss,
        np.append(np.zeros(4), 4.0),
        method="Nelder-Mead",
        options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 20_000, "maxfev": 20_000},
    )
    fit = fitted(data)
    assert fit.slope == pytest.approx(found.x[-1] / 100, rel=1e-5)
    np.testing.assert_allclose(
        [stage_points(fit, unit)[0][1] for unit in range(4)],
        600 - 100 * found.x[:-1] / found.x[-1],
        atol=0.01,
    )


def test_points_lie_on_the_curve() -> None:
    fit = fitted(simulate(np.random.default_rng(3), units=3))
    heat, _ = stage_points(fit, 1)
    np.testing.assert_allclose(
        expit(fit.intercept[1] + fit.slope * (heat - fit.centre[1])), [0.1, 0.5, 0.95], rtol=1e-12
    )


@pytest.mark.parametrize(
    ("pace_spread", "fewest", "most"),
    [
        (0.0, (0.98, 0.93, 0.98), (1.0, 0.97, 1.0)),  # full bloom has no other error than that of the looks
        (PACE_SPREAD, (0.93, 0.88, 0.93), (0.995, 0.95, 0.995)),
    ],
)
def test_known_curves_come_back_within_two_standard_errors(
    pace_spread: float, fewest: tuple[float, ...], most: tuple[float, ...]
) -> None:
    """600 blocks of 60 cultivars; 10 and 95 % have room for a pace of the block's own, used or not."""
    rng = np.random.default_rng(4)
    off, miss = [], []
    for _ in range(60):
        data = simulate(rng, units=10, pace_spread=pace_spread)
        fit = fitted(data)
        for unit, truth in enumerate(data.truth):
            heat, error = stage_points(fit, unit, widened=max(1.0, fit.scatter / fit.spare_looks))
            off.append((heat - truth) / error)
            miss.append(heat - truth)
    held = np.mean(np.abs(off) < 2, axis=0)
    assert np.all((held >= fewest) & (held <= most)), held
    assert np.all(np.abs(np.mean(miss, axis=0)) < 0.35 * HEAT_A_DAY), np.mean(miss, axis=0)


@pytest.mark.parametrize("flowers", [8, 20])
def test_scatter_is_measured_against_flowers_told_one_by_one(flowers: int) -> None:
    """Looks as coarse as 8 flowers scatter 2.5 times as much; most looks, far from bloom, miss nothing."""
    rng = np.random.default_rng(5)
    data = [simulate(rng, units=10, flowers=flowers) for _ in range(60)]
    fits = [fit for one in data if (fit := fit_curves(one.heat, one.share, one.unit)) is not None]
    scatter = sum(fit.scatter for fit in fits) / sum(fit.spare_looks for fit in fits)
    assert scatter == pytest.approx(FLOWERS_A_LOOK / flowers, rel=0.15)


def test_looks_exactly_on_a_curve_far_from_bloom_and_after_it() -> None:
    """Perfect prediction, shares that round to 0 and 1, and both neighbours: no warning, the curve itself."""
    heat = np.array([5.0, 560.0, 600.0, 640.0, 3000.0])
    share = expit(SLOPE * (heat - 600))
    share[[0, -1]] = 0, 1
    fit = fit_curves(heat, share, np.zeros(5, dtype=np.int64))
    assert fit is not None
    assert fit.slope == pytest.approx(SLOPE, rel=1e-6)
    assert np.isfinite([fit.scatter, fit.spare_looks]).all()
    heat_at, error = stage_points(fit, 0)
    np.testing.assert_allclose(heat_at, 600 + STAGE_LOGITS / SLOPE, rtol=1e-6)
    assert np.all((error > 0) & (error < 60))


def test_a_curve_that_does_not_surely_rise_is_none() -> None:
    heat = np.array([500.0, 550.0, 600.0, 650.0])
    unit = np.zeros(4, dtype=np.int64)
    assert fit_curves(heat, np.array([0.4, 0.5, 0.4, 0.5]), unit) is None
    assert fit_curves(heat, np.array([0.9, 0.6, 0.3, 0.1]), unit) is None


@pytest.mark.parametrize("heat", [[500.0, 550.0, 600.0], [550.0, 550.0, 550.0]])
def test_one_partly_open_look_tells_no_slope(heat: list[float]) -> None:
    assert fit_curves(np.array(heat), np.array([0.0, 0.4, 1.0]), np.zeros(3, dtype=np.int64)) is None


# From here on: sites with weather, visits by date.


def weather(rng: np.random.Generator, *, first: int, last: int) -> DailyTemperatures:
    dates = np.arange(f"{first}-01-01", f"{last + 1}-01-01", dtype="datetime64[D]")
    mean = 10 + HEAT_A_DAY + rng.normal(0, 3, dates.size)
    return DailyTemperatures(dates, mean - 5, mean + 5)


def heat_by_day(temperatures: DailyTemperatures, season: int) -> FloatArray:
    """Independent of the product's sums: above 10 °C on every day here."""
    days = temperatures.dates.astype("datetime64[Y]") == np.datetime64(str(season))
    return np.cumsum(np.maximum((temperatures.tmin_c + temperatures.tmax_c)[days] / 2 - 10, 0))


def simulate_site(
    seed: int, *, cultivars: int = 4, flowers: int = 20, pace_spread: float = 0.0
) -> tuple[Site, dict[tuple[int, str], FloatArray]]:
    """Six seasons of weekly visits with percentages, and the heat at 10, 50 and 95 % of every block."""
    rng = np.random.default_rng(seed)
    temperatures = weather(rng, first=2015, last=2020)
    visits, truth = [], {}
    for season in range(2015, 2021):
        heat = heat_by_day(temperatures, season)
        for cultivar in range(cultivars):
            block = f"b{cultivar}"
            full = 560 + 30 * cultivar + rng.normal(0, 20)
            slopes = SLOPE / np.maximum(1 + pace_spread * rng.normal(size=2), 0.2)
            truth[season, block] = full + STAGE_LOGITS / slopes[[0, 0, 1]]
            for day in range(20 + int(rng.integers(7)), 90, 7):
                off = heat[day] - full
                percent = 100 * rng.binomial(flowers, expit(off * slopes[int(off >= 0)])) / flowers
                date = dt.date(season, 1, 1) + dt.timedelta(days=day)
                visits.append(Visit(date, f"cultivar {cultivar}", block, float(percent)))
    return seen_by(Site("home", 31.0, temperatures), visits), truth


def seen_by(site: Site, visits: list[Visit]) -> Site:
    return replace(site, visits=tuple(visits))


def intervals_of(site: Site) -> HeatIntervals:
    found, _ = heat_intervals([site], stages=BLOOM_STAGES, rule=RULE)
    return found


def test_weekly_visits_with_percentages_are_used_fully() -> None:
    """Against the middle between two weekly visits: less off, less biased, far narrower, and the truth still inside.

    Percentages by eye put some stages outside the two visits around them. Narrowing can't mend these intervals,
    so the share that holds the truth is counted among the others.
    """
    held: list[bool] = []
    first_visit, between_visits, on_curve, in_sharpened = [], [], [], []
    narrower: list[float] = []
    for seed in range(8):
        site, truth = simulate_site(seed, pace_spread=PACE_SPREAD)
        raw = intervals_of(site)
        points = curve_points([site], rule=RULE)
        sharp = sharpened(raw, points)
        at = np.array(
            [truth[raw.seasons[s][1], u.name] for s, u in zip(raw.season_of, raw.units, strict=True)]
        )
        closed = np.isfinite(raw.lower + raw.upper)
        inside = (raw.lower < at) & (at <= raw.upper) & closed
        held += list(((sharp.lower < at) & (at <= sharp.upper))[inside])
        first_visit += list((raw.upper - at)[closed])
        between_visits += list(((raw.lower + raw.upper) / 2 - at)[closed])
        in_sharpened += list(((sharp.lower + sharp.upper) / 2 - at)[closed])
        on_curve += [point.heat - truth[point.season, point.unit.name] for point in points]
        narrower += list(((sharp.upper - sharp.lower) / (raw.upper - raw.lower))[closed])
        assert np.all((sharp.lower >= raw.lower)[closed])
        assert np.all((sharp.upper <= raw.upper)[closed])
        assert np.all((sharp.upper > sharp.lower)[closed])
    assert len(held) > 400
    assert 0.93 < np.mean(held) < 0.99
    assert np.mean(narrower) < 0.65
    assert np.mean(first_visit) == pytest.approx(3 * HEAT_A_DAY, abs=0.5 * HEAT_A_DAY)
    assert np.all(np.abs(np.mean(on_curve, axis=0)) < 0.3 * HEAT_A_DAY)
    assert abs(np.mean(in_sharpened)) < 0.6 * abs(np.mean(between_visits))
    assert np.std(in_sharpened) < 0.7 * np.std(between_visits)
    assert np.all(np.std(on_curve, axis=0) < 0.65 * np.std(between_visits))


def points_of(site: Site) -> tuple[CurvePoints, ...]:
    return curve_points([site], rule=RULE)


def visits_on(shares: dict[int, float], *, season: int = 2016, block: str | None = "b0") -> list[Visit]:
    start = dt.date(season, 1, 1)
    return [
        Visit(start + dt.timedelta(days=day), "cultivar 0", block, percent) for day, percent in shares.items()
    ]


@pytest.mark.parametrize(
    "shares",
    [
        {},
        {40: 50.0},
        {40: 30.0, 47: 60.0},
        {40: 0.0, 47: 0.0, 54: 0.0},
        {40: 100.0, 47: 100.0, 54: 100.0},
        {33: 0.0, 40: 0.0, 47: 100.0},
        {33: 0.0, 40: 40.0, 47: 100.0},  # any steep curve does
        {33: 0.0, 40: 40.0, 47: 60.0, 54: 0.0},  # "none open" after the end
        {33: 50.0, 40: 50.0, 47: 50.0},
    ],
)
def test_visits_that_tell_no_curve_are_left_out(shares: dict[int, float]) -> None:
    site, _ = simulate_site(0, cultivars=1)
    told = seen_by(site, visits_on(shares))
    assert points_of(told) == ()
    raw = intervals_of(told)
    np.testing.assert_equal(sharpened(raw, ()).lower, raw.lower)


@pytest.mark.parametrize(
    "shares",
    [
        {40: 30.0, 47: 60.0},  # two looks
        {33: 0.0, 40: 0.0, 47: 100.0},  # never partly open
        {33: 0.0, 40: 40.0, 47: 60.0, 61: 20.0, 68: 100.0},  # caps don't go back on
    ],
)
def test_a_season_that_tells_no_curve_leaves_the_others_alone(shares: dict[int, float]) -> None:
    site, _ = simulate_site(0, cultivars=1)
    others = [visit for visit in site.visits if visit.date.year != 2016]
    expected = [(p.season, *p.heat) for p in points_of(seen_by(site, others))]
    found = [(p.season, *p.heat) for p in points_of(seen_by(site, others + visits_on(shares)))]
    assert found == expected


def test_looks_that_scatter_more_widen_all_errors() -> None:
    """Coarser looks than assumed: full bloom is held as often, since the scatter was measured."""
    held = []
    for seed in range(10):
        site, truth = simulate_site(seed, flowers=6)
        for point in points_of(site):
            off = (point.heat[1] - truth[point.season, point.unit.name][1]) / point.standard_error[1]
            held.append(abs(off) < 2)
    assert 0.88 < np.mean(held) < 0.97, np.mean(held)


def test_one_partly_open_look_is_enough_where_the_cultivar_is_known() -> None:
    site, _ = simulate_site(0, cultivars=1)
    others = [visit for visit in site.visits if visit.date.year != 2016]
    told = seen_by(site, others + visits_on({33: 0.0, 47: 40.0, 61: 100.0}))
    (point,) = (point for point in points_of(told) if point.season == 2016)
    at_look = heat_by_day(site.temperatures, 2016)[47]
    assert point.heat[1] == pytest.approx(at_look - logit(0.4) / point.slope, abs=2.0)


def test_cultivars_keep_their_own_slope_and_sites_share_it() -> None:
    site, _ = simulate_site(1, cultivars=2)
    twin = replace(site, key="away")
    points = curve_points([site, twin], rule=RULE)
    assert [(p.cultivar, p.site, p.season, p.unit) for p in points] == sorted(
        (p.cultivar, p.site, p.season, p.unit) for p in points
    )
    slopes = {(p.cultivar, p.site): p.slope for p in points}
    assert slopes["cultivar 0", "home"] == slopes["cultivar 0", "away"] != slopes["cultivar 1", "home"]


def test_excluded_seasons_leave_no_trace() -> None:
    site, _ = simulate_site(2, cultivars=1)
    without = seen_by(site, [visit for visit in site.visits if visit.date.year != 2018])
    expected = points_of(without)
    found = points_of(site.without([2018]))
    assert [(p.season, *p.heat, *p.standard_error) for p in found] == [
        (p.season, *p.heat, *p.standard_error) for p in expected
    ]
    assert 2018 not in {p.season for p in found}


def test_days_without_heat_tell_nothing() -> None:
    """After a gap that no other year can fill the heat is unknown."""
    site, _ = simulate_site(3, cultivars=1)
    months = site.temperatures.dates.astype("datetime64[M]").astype(np.int64)
    lost = months % 12 == 0
    gone = DailyTemperatures(
        site.temperatures.dates,
        np.where(lost, np.nan, site.temperatures.tmin_c),
        np.where(lost, np.nan, site.temperatures.tmax_c),
    )
    assert points_of(site)
    assert not points_of(replace(site, temperatures=gone))


def test_whole_cultivars_and_blocks_are_told_apart() -> None:
    site, _ = simulate_site(4, cultivars=1)
    whole = [replace(visit, block=None) for visit in site.visits]
    points = points_of(seen_by(site, list(site.visits) + whole))
    assert {p.unit for p in points} == {Unit("block", "b0"), Unit("cultivar", "cultivar 0")}
    sharp = sharpened(intervals_of(seen_by(site, whole)), points)
    assert np.all(sharp.upper >= sharp.lower)


def interval(
    lower: FloatArray, upper: FloatArray, *, stages: tuple[str, ...] = BLOOM_STAGES
) -> HeatIntervals:
    zero = np.zeros(1, dtype=np.int64)
    one_a_stage = np.ones(len(stages))
    return HeatIntervals(
        stages=stages,
        cultivars=("cultivar 0",),
        seasons=(("home", 2016),),
        sites=("home",),
        units=(Unit("block", "b0"),),
        cultivar_of=zero,
        season_of=zero,
        lower=lower,
        upper=upper,
        heat_a_day=one_a_stage,
    )


POINT = CurvePoints(
    site="home",
    season=2016,
    cultivar="cultivar 0",
    unit=Unit("block", "b0"),
    heat=np.array([500.0, 550.0, 620.0]),
    standard_error=np.array([5.0, 4.0, 8.0]),
    slope=0.04,
    slope_error=0.005,
)


@pytest.mark.parametrize(
    ("lower", "upper", "expected"),
    [
        ([440, 500, 560], [510, 560, 700], ([490, 542, 604], [510, 558, 636])),  # each side by the narrower
        (
            [300, 560, 400],
            [480, 600, 604.05],
            ([300, 560, 400], [480, 600, 604.05]),
        ),  # contradicted, or hardly met
        ([-np.inf, 542, np.nan], [510, np.inf, np.nan], ([-np.inf, 542, np.nan], [510, np.inf, np.nan])),
    ],
)
def test_sharpened_by_hand(
    lower: list[float], upper: list[float], expected: tuple[list[float], list[float]]
) -> None:
    sharp = sharpened(interval(np.array([lower], dtype=float), np.array([upper], dtype=float)), [POINT])
    np.testing.assert_array_equal(sharp.lower[0], expected[0])
    np.testing.assert_array_equal(sharp.upper[0], expected[1])


def test_sharpened_finds_stages_by_name_and_leaves_others() -> None:
    stages = ("budbreak", "full_bloom", "fruit_set")
    raw = interval(np.array([[100.0, 500.0, 500.0]]), np.array([[200.0, 600.0, 600.0]]), stages=stages)
    sharp = sharpened(raw, [POINT])
    np.testing.assert_array_equal(sharp.lower, [[100, 542, 500]])
    np.testing.assert_array_equal(sharp.upper, [[200, 558, 600]])


@pytest.mark.parametrize(
    "change",
    [
        {"site": "away"},
        {"season": 2017},
        {"unit": Unit("block", "b1")},
        {"unit": Unit("cultivar", "b0")},
        {"cultivar": "cultivar 1"},
    ],
)
def test_sharpened_minds_whose_curve_it_is(change: dict[str, object]) -> None:
    raw = interval(np.array([[440.0, 500.0, 560.0]]), np.array([[510.0, 560.0, 700.0]]))
    other = replace(POINT, **change)  # type: ignore[arg-type]
    np.testing.assert_array_equal(sharpened(raw, [other]).lower, raw.lower)
