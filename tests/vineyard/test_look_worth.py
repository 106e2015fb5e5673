"""What a look would teach, against exact answers, against refits, and in the plan that it orders."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
import xarray as xr
from scipy.stats import norm

from models.bloom.forecast import Forecast, forecast
from models.bloom.site import Site
from models.bloom.thresholds import Fit, fit_thresholds
from models.bloom.traces import Traces
from models.heat.season import season_window
from models.records import HeatRule, StageInterval
from models.stages import BLOOM_STAGES
from models.units import FloatArray
from models.vineyard.look_worth import narrowing
from tests.bloom.noted import logged
from tests.bloom.simulated import day
from tests.bloom.test_forecast import BLOCKS, LOOKS, RECORD, STAGES

Z80 = 1.2815515655446004  # central 80 % of a normal
WINDOW = season_window(2020, 33.0)
START = WINDOW.start


def foreseen(days: FloatArray, *, as_of: int = 100, heat_of_draw: FloatArray | None = None) -> Forecast:
    """A forecast of bloom_start alone, with these days (draw, block) since the season's start."""
    draws, blocks = days.shape
    heat = np.zeros(1) if heat_of_draw is None else heat_of_draw
    traces = Traces(
        window=WINDOW,
        seasons=tuple(range(1900, 1900 + heat.size)),
        shift_c=np.zeros(heat.size),
        tmin_c=np.zeros((heat.size, WINDOW.days)),
        accumulated=np.repeat(heat[:, None], WINDOW.days, axis=1),
        known_days=as_of,
        temperatures_through=None,
        outlook_through=None,
        filled=(),
    )
    dataset = xr.Dataset(
        {
            "day": (("draw", "block", "stage"), days[:, :, None]),
            "trace_season": ("draw", 1900 + np.arange(draws) % heat.size),
        },
        coords={"block": [f"b{place}" for place in range(blocks)], "stage": ["bloom_start"]},
        attrs={"season_start": START.isoformat()},
    )
    return Forecast(
        season=2020,
        as_of=date(as_of),
        interval=0.8,
        traces=traces,
        heat_to_date=0.0,
        blocks=(),
        draws=dataset,
        set_aside=(),
        cautions=(),
    )


def date(place: int) -> dt.date:
    return START + dt.timedelta(days=place)


def at_both(*places: int) -> list[tuple[str, dt.date]]:
    return [(block, date(place)) for place in places for block in ("b0", "b1")]


def test_a_look_at_the_median_of_one_of_two_blocks_against_the_exact_answer() -> None:
    random = np.random.default_rng(1)
    first = random.normal(130, 6, 200_000)
    other = random.normal(130, 6, 200_000)
    found = foreseen(np.stack([first, other], axis=1), as_of=130)
    told = narrowing(found, at_both(130))
    # past by the look counts as known: max(day, 130) has sd s before; after "not yet" that of a half normal, after
    # "come" none. Of two blocks one learns.
    half_mean, half_square = 6 * norm.pdf(0), 0.5 * 36
    before = np.sqrt(half_square - half_mean**2)
    after = 0.5 * 6 * np.sqrt(1 - 2 / np.pi)
    assert told["b0", date(130)] == pytest.approx(2 * Z80 * (before - after) / 2, rel=0.02)
    assert told["b1", date(130)] == pytest.approx(told["b0", date(130)], rel=0.05)


def test_blocks_that_go_together_teach_each_other() -> None:
    random = np.random.default_rng(2)
    shared, own = random.normal(130, 6, 4000), random.normal(130, 6, 4000)
    alike = narrowing(foreseen(np.stack([shared, shared], axis=1), as_of=128), at_both(128))
    apart = narrowing(foreseen(np.stack([shared, own], axis=1), as_of=128), at_both(128))
    assert alike["b0", date(128)] == pytest.approx(2 * apart["b0", date(128)], rel=0.1)


def test_nothing_is_taught_by_what_is_known_or_past_or_far_off() -> None:
    random = np.random.default_rng(3)
    days = np.stack([np.full(4000, 90.0), random.normal(130, 4, 4000)], axis=1)
    told = narrowing(foreseen(days), at_both(99, 100, 104, 130, 160))
    assert ("b1", date(99)) not in told  # before the forecast's day
    assert told["b0", date(130)] < 0.02  # seen already
    assert told["b1", date(104)] < 0.02  # not yet, in all draws
    assert told["b1", date(160)] < 0.02  # come, in all draws: hindsight
    assert told["b1", date(130)] > 1


def test_what_the_weather_will_tell_by_then_is_no_merit_of_the_look() -> None:
    """Dates that follow from the weather up to the look alone: without parting the draws a look would seem to teach."""
    random = np.random.default_rng(4)
    heat = np.arange(40.0)
    by_weather = 130 - (np.arange(4000) % 40 - 20) / 3
    days = np.stack([by_weather + random.normal(0, 0.5, 4000)] * 2, axis=1)
    along = narrowing(foreseen(days, as_of=128, heat_of_draw=heat), at_both(130))
    blind = narrowing(foreseen(days, as_of=128), at_both(130))
    assert along["b0", date(130)] < 0.5 * blind["b0", date(130)]


def test_what_a_look_teaches_does_not_hang_on_which_others_are_asked_for() -> None:
    random = np.random.default_rng(5)
    days = np.rint(random.normal(130, 6, (500, 2)) + random.normal(0, 4, (500, 1)))
    found = foreseen(days, as_of=120, heat_of_draw=np.arange(8.0))
    told = narrowing(found, at_both(*range(120, 140)))
    for look in ("b1", date(131)), ("b0", date(126)):
        assert narrowing(found, [look, ("b7", date(131))]) == {look: told[look]}


@pytest.fixture(scope="module")
def fit() -> Fit:
    return fit_thresholds([Site("here", 33.0, RECORD, logged(LOOKS))], stages=STAGES, rule=HeatRule())


def refitted(fit: Fit, as_of: dt.date, *looks: StageInterval) -> Forecast:
    return forecast(fit, Site("here", 33.0, RECORD), BLOCKS, as_of=as_of, told=looks, draws=1500)


def spread(found: Forecast, place: int) -> float:
    """Mean standard deviation of all dates, what is past counted as known. [day]"""
    return float(np.maximum(found.draws["day"].values, place).std(axis=0).mean())


@pytest.mark.slow
def test_forecasts_made_again_with_what_the_look_finds_agree(fit: Fit) -> None:
    """Each thing that a look may find is told to the model in turn, with its chance: simulated truth from the draws."""
    as_of = day("2020-05-01")
    place = WINDOW.day_index(as_of)
    before = refitted(fit, as_of)
    said = narrowing(before, [(block.key, as_of) for block in BLOCKS])
    refits: dict[str, float] = {}
    for block in BLOCKS:
        reached = (before.draws["day"].sel(block=block.key).values <= place).sum(axis=1)
        expected = 0.0
        for count in np.unique(reached).tolist():
            looks = [
                StageInterval(2020, block.cultivar, block.key, stage, None, as_of)
                for stage in BLOOM_STAGES[:count]
            ]
            if count < len(BLOOM_STAGES):
                looks.append(StageInterval(2020, block.cultivar, block.key, BLOOM_STAGES[count], as_of, None))
            expected += float(np.mean(reached == count)) * spread(refitted(fit, as_of, *looks), place)
        refits[block.key] = 2 * Z80 * (spread(before, place) - expected)
    told = {block: said[block, as_of] for block in refits}
    assert max(told, key=lambda block: told[block]) == max(refits, key=lambda block: refits[block])
    leader = max(told, key=lambda block: told[block])
    assert told[leader] == pytest.approx(refits[leader], rel=0.25)
    assert all(abs(told[block] - refits[block]) < 0.25 for block in refits)
