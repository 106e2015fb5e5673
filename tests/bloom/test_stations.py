"""What sites on one station share, and where a change of the station cuts what lasts from season to season."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from models.bloom.observations import HeatIntervals
from models.bloom.season_effect import expected_drift
from models.bloom.site import Site
from models.bloom.thresholds import Fit, fit_intervals
from models.records import HeatRule, Unit
from models.units import FloatArray
from tests.bloom.simulated import HEAT_A_DAY, block_heat, draw_truth, season_effects, weather

Z80 = 1.2815515655446004  # central 80 % of a normal
RECORD = weather("2010-01-01", "2012-12-31")


def site(*changed_on: str, latitude: float = 40.0, station: str | None = "mast") -> Site:
    days = tuple(dt.date.fromisoformat(day) for day in changed_on)
    return Site("home", latitude, RECORD, station=station, changed_on=days)


@pytest.mark.parametrize(
    ("latitude", "changed_on", "season", "place"),
    [
        (40.0, (), 2012, "station mast"),
        (40.0, ("2012-04-01",), 2011, "station mast"),
        (40.0, ("2012-04-01",), 2012, "station mast from 2012"),
        (40.0, ("2012-08-01",), 2012, "station mast"),
        (40.0, ("2012-08-01",), 2013, "station mast from 2013"),
        (40.0, ("2009-01-05", "2012-04-01"), 2011, "station mast from 2009"),
        (40.0, ("2009-01-05", "2012-04-01"), 2020, "station mast from 2012"),
        (-34.0, ("2011-10-01",), 2012, "station mast from 2012"),
        (-34.0, ("2012-03-01",), 2012, "station mast"),
    ],
)
def test_a_change_early_in_a_season_counts_from_it_on(
    latitude: float, changed_on: tuple[str, ...], season: int, place: str
) -> None:
    assert site(*changed_on, latitude=latitude).place(season) == place


def test_without_a_station_a_site_stands_for_itself_and_what_is_not_known_yet_cuts_nothing() -> None:
    assert site(station=None).place(2012) == "home"
    assert site("2012-04-01", station=None).place(2012) == "home from 2012"
    told = site("2011-04-01", "2012-04-01")
    assert told.known_on(dt.date(2012, 3, 31)).place(2012) == "station mast from 2011"


def intervals(heat: FloatArray, places: list[str], *, first: int = 1990) -> HeatIntervals:
    """Daily looks at heat (site, season, cultivar), one stage; ``places`` are those of the sites."""
    sites, seasons, cultivars = heat.shape
    labels = tuple(sorted({(place, first + season) for place in places for season in range(seasons)}))
    rows = [(s, y, c) for s in range(sites) for y in range(seasons) for c in range(cultivars)]
    middle = np.array([[heat[row]] for row in rows])
    return HeatIntervals(
        stages=("bloom_start",),
        cultivars=tuple(f"cultivar-{number:02d}" for number in range(cultivars)),
        seasons=labels,
        sites=tuple(f"site-{s}" for s, _, _ in rows),
        units=tuple(Unit("block", f"block-{c}") for _, _, c in rows),
        cultivar_of=np.array([c for _, _, c in rows], dtype=np.int64),
        season_of=np.array([labels.index((places[s], first + y)) for s, y, _ in rows], dtype=np.int64),
        lower=middle - HEAT_A_DAY / 2,
        upper=middle + HEAT_A_DAY / 2,
        heat_a_day=np.full(1, HEAT_A_DAY),
    )


def fitted(heat: FloatArray, places: list[str]) -> Fit:
    return fit_intervals(intervals(heat, places), rule=HeatRule())


@pytest.mark.slow
def test_two_vineyards_on_one_station_are_not_two_sets_of_seasons() -> None:
    """Simulated truth, with drift: intervals of thresholds hold 80 % where the season's effect is shared, and not where
    it counts twice: then standard errors are two thirds of what they should be."""
    random = np.random.default_rng(3)
    repeats = 100
    told: dict[str, list[float]] = {"one": [], "shared": [], "apart": []}
    held = {"shared": 0, "apart": 0}
    for _ in range(repeats):
        truth = draw_truth(random, cultivars=4, between_seasons=40.0, within=10.0, drift_share=0.3)
        effects = season_effects(random, truth, 12)
        heat = np.stack(
            [np.stack([block_heat(random, truth, effect)[:, 0] for effect in effects]) for _ in range(2)]
        )
        told["one"].append(float(fitted(heat[:1], ["mast"]).standard_error.mean()))
        for name, places in (("shared", ["mast", "mast"]), ("apart", ["mast", "pole"])):
            fit = fitted(heat, places)
            told[name].append(float(fit.standard_error.mean()))
            held[name] += bool(abs((fit.thresholds.mean - truth.theta).mean()) <= Z80 * told[name][-1])
    assert np.mean(told["apart"]) < 0.75 * np.mean(told["one"])
    assert np.mean(told["shared"]) > 0.95 * np.mean(told["one"])
    assert abs(held["shared"] / repeats - 0.8) < 3 * np.sqrt(0.8 * 0.2 / repeats)
    assert held["apart"] / repeats < 0.6


def test_a_change_that_is_told_keeps_the_drift_to_its_own_side() -> None:
    """Simulated truth: a station that reads 50 °C·day more from its eleventh season on; the next seasons' effect."""
    random = np.random.default_rng(5)
    misses: dict[str, list[float]] = {"told": [], "untold": []}
    for _ in range(40):
        truth = draw_truth(random, cultivars=4, between_seasons=20.0, within=10.0)
        effects = season_effects(random, truth, 14) + np.where(np.arange(14) >= 10, 50.0, 0.0)[:, None]
        heat = np.stack([[block_heat(random, truth, effect)[:, 0] for effect in effects[:12]]])
        for name, since in (("told", 2000), ("untold", None)):
            made = intervals(heat, ["station mast"])
            if since is not None:
                labels = [
                    (f"{place} from {since}" if season >= since else place, season)
                    for place, season in made.seasons
                ]
                made = replace(made, seasons=tuple(labels))
            fit = fit_intervals(made, rule=HeatRule())
            place = made.seasons[-1][0]
            drift, _ = expected_drift(fit.season_evidence, fit.calibrated, site=place, season=2002)
            expected = fit.thresholds.mean[:, 0] + drift[0]
            misses[name].append(float(np.abs(expected - truth.theta[:, 0] - 50.0).mean()))
    assert np.mean(misses["told"]) < 0.9 * np.mean(misses["untold"])
