"""Forecast when every block of a vineyard reaches each stage, from what was known on a day."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

import numpy as np

from models.bloom.cautions import DateCaution, forecast_cautions
from models.bloom.draws import draw_heat, stream
from models.bloom.far_off import far_off, usual_heat
from models.bloom.frosted_bloom import counted_on, frosted_bloom
from models.bloom.in_season import SeasonKnowledge, learn
from models.bloom.observations import IntArray, in_stage_order
from models.bloom.season_looks import SeasonLooks, known_by, unit_of
from models.bloom.set_aside import SetAside
from models.bloom.site import Site
from models.bloom.spans import block_spans
from models.bloom.thresholds import Fit, Newcomer
from models.bloom.trace_likelihood import log_likelihood
from models.bloom.traces import Traces, crossing_days, season_traces, trace_of_draws
from models.errors import BadInput, Problem
from models.heat.season import SeasonWindow, season_of
from models.records import Block, DailyTemperatures, StageInterval
from models.units import FloatArray

if TYPE_CHECKING:
    import xarray as xr

Status = Literal["observed", "expected", "presumed", "overdue", "unlikely"]
Basis = Literal["own", "pooled", "group", "none"]
WhyNone = Literal["cultivar_not_in_fit"]

DRAWS = 2000
# From this share on a threshold leans more on the other cultivars than on its own seasons.
MOSTLY_POOLED = 0.5


@dataclass(frozen=True, kw_only=True)
class StageForecast:
    """When one block reaches one stage.

    ``status`` is "overdue" where a look said "not yet" at more heat than the cultivar's interval holds, "presumed"
    where the median is past and nobody saw the stage.
    ``median``, ``low`` and ``high`` are None where the season may end first; ``threshold`` is in °C·day;
    ``chance`` is the share of draws that reach the stage this season. ``first_look`` is the day of the first look,
    where the stage had come by then: how long before is not known.
    """

    status: Status
    median: dt.date | None
    low: dt.date | None
    high: dt.date | None
    chance: float
    threshold: float
    first_look: dt.date | None = None


@dataclass(frozen=True)
class BlockForecast:
    """The stages of one block.

    ``why_none`` says why there is no forecast, where ``basis`` is "none"; ``share_killed``, which share of its shoots
    froze (1 where that was not told); ``newcomer``, where ``basis`` is "group", which cultivars its dates are taken
    from.
    """

    block: str
    cultivar: str
    basis: Basis
    stages: dict[str, StageForecast]
    why_none: WhyNone | None = None
    share_killed: float | None = None
    newcomer: Newcomer | None = None

    @property
    def frosted(self) -> bool:
        """Whether its shoots froze this season, all of them or some."""
        return self.share_killed is not None


@dataclass(frozen=True, eq=False, kw_only=True)
class Forecast:
    """A vineyard's season as foreseen on a day.

    Attributes
    ----------
    draws : xarray.Dataset
        ``day(draw, block, stage)``, whole days since ``attrs["season_start"]``, NaN where the season ends first
        or the block has no forecast; ``trace_season(draw)``, the past season that continues this one. Where a
        block froze in part also ``pollen_day(draw, block, stage)``, the same without bloom from secondary buds, and
        ``counted_on(draw, block)``, whether the block's pollen is counted on in a draw.
    traces : Traces
    heat_to_date : float
        Through the last measured day. [°C·day]
    """

    season: int
    as_of: dt.date
    interval: float
    traces: Traces
    heat_to_date: float
    blocks: tuple[BlockForecast, ...]
    draws: xr.Dataset
    set_aside: tuple[SetAside, ...]
    cautions: tuple[DateCaution, ...]


def forecast(
    fit: Fit,
    site: Site,
    blocks: Sequence[Block],
    *,
    as_of: dt.date,
    interval: float = 0.8,
    outlook: DailyTemperatures | None = None,
    history: DailyTemperatures | None = None,
    season: int | None = None,
    told: Sequence[StageInterval] | None = None,
    draws: int = DRAWS,
) -> Forecast:
    """Forecast every block's stages.

    Parameters
    ----------
    fit : Fit
        With newcomers (`with_newcomers`), where cultivars that it does not know are to be forecast.
    site : Site
        Of its temperatures those of days before ``as_of`` are used, of what was seen that of the season dated
        ``as_of`` or earlier. What was seen in blocks whose shoots froze this season teaches nothing about other
        blocks, and their bloom is drawn later and longer, as far as it has not been seen to begin: that of the
        share of the shoots that froze.
    blocks : sequence of Block
    as_of : date
        The day on which the forecast is made.
    interval : float
        Probability of the central interval from ``low`` to ``high``, above 0 and below 1.
    outlook : DailyTemperatures, optional
        A weather forecast for the next days.
    history : DailyTemperatures, optional
        Where traces are taken from; by default the site's temperatures before ``as_of``.
    season : int, optional
        Label of the season; by default the one in which ``as_of`` lies.
    told : sequence of StageInterval, optional
        What is known of the season; by default all that the site knows by ``as_of``.
    draws : int

    Returns
    -------
    Forecast
        The same for the same inputs. Random numbers belong to the season, and to each block by its key: without
        news, tomorrow's draws are today's, and no date moves by chance or by which other blocks there are.

    Raises
    ------
    BadInput
        If the interval is no probability between 0 and 1.
    NotEnoughData
        If no past season can continue this one.
    """
    import xarray as xr  # loaded with the first forecast, as it brings pandas along

    if not 0 < interval < 1:
        raise BadInput(
            "the interval is not a probability",
            [Problem("interval", f"{interval:g} is not between 0 and 1; 0.8 asks for the central 80 %")],
        )
    season = season_of(as_of, site.latitude) if season is None else season
    traces = season_traces(
        site.temperatures,
        latitude=site.latitude,
        season=season,
        as_of=as_of,
        rule=fit.rule,
        gap_rule=fit.gap_rule,
        outlook=outlook,
        history=history,
    )
    noted = site.only(season).known_on(as_of)
    killed = noted.killed_in(season)
    known_looks = known_by(noted.seen if told is None else told, fit, season, as_of)
    seen, slips = in_stage_order(known_looks, fit.stages)
    known = [block for block in blocks if block.cultivar in fit.cultivars]
    look = SeasonLooks.of(seen, known, fit, traces.window, traces.expected)
    # where the weather of a look's day is not known yet, its heat is another one along every trace
    lagging = _looked_where_traces_differ(seen, traces)
    looks = (
        [SeasonLooks.of(seen, known, fit, traces.window, curve) for curve in traces.accumulated]
        if lagging
        else [look]
    )
    told_units = [each.units_outside(killed) for each in looks]
    shared_by = noted.place(season)
    if all(
        said.site != shared_by for said in fit.season_evidence
    ):  # a fit from before stations were looked at
        shared_by = site.key
    learned = [learn(fit, units, site=shared_by, season=season) for units in told_units]
    likely = np.array(
        [
            log_likelihood(said, fit.thresholds, fit.spread.within, units)
            for said, units in zip(learned, told_units, strict=True)
        ]
        if lagging
        else np.zeros(len(traces.seasons))
    )
    trace_of = trace_of_draws(
        traces.seasons, season, draws=draws, random=stream(season, "traces"), log_likelihood=likely
    )
    weather_of = trace_of if lagging else np.zeros_like(trace_of)
    knowledge = learned[int(np.bincount(weather_of).argmax())]
    own = [stream(season, "block", block.key) for block in known]
    if seen or killed:
        heat = _heat(fit, season, learned, looks, weather_of, own)
    else:
        heat = _heat_of_unseen(fit, season, traces.window, shared_by, tuple(known), draws)
    day = np.full((draws, len(blocks), len(fit.stages)), np.nan)
    foreseen = np.array([block.cultivar in fit.cultivars for block in blocks], dtype=np.bool_)
    # days not yet measured differ between traces, and a day without heat hides a stage; what was seen stands
    crossed = crossing_days(traces.accumulated, trace_of, heat)
    unharmed = np.where(crossed < traces.accumulated.shape[-1], crossed, np.nan)
    for place, block in enumerate(known):
        if block.key in killed and not look.has_begun(block):
            crossed[:, place] = frosted_bloom(
                crossed[:, place], fit.stages, share_killed=killed[block.key], random=own[place]
            )
    crossed[crossed >= traces.accumulated.shape[-1]] = np.nan
    day[:, foreseen, :] = look.within(crossed)
    variables = {
        "day": (("draw", "block", "stage"), day),
        "trace_season": (("draw",), np.array(traces.seasons)[trace_of]),
    }
    in_part = {key: share for key, share in killed.items() if share < 1}
    if in_part:
        pollen_day, counted = np.full_like(day, np.nan), np.ones(day.shape[:2], dtype=np.bool_)
        pollen_day[:, foreseen, :] = look.within(unharmed)
        for place, block in enumerate(blocks):
            if block.key in in_part:
                counted[:, place] = counted_on(
                    in_part[block.key], draws=draws, random=stream(season, "frost", block.key)
                )
        variables |= {
            "pollen_day": (("draw", "block", "stage"), pollen_day),
            "counted_on": (("draw", "block"), counted),
        }
    dataset = xr.Dataset(
        variables,
        coords={"block": [block.key for block in blocks], "stage": list(fit.stages)},
        attrs={"season_start": traces.window.start.isoformat()},
    )
    spans, chances = block_spans(day, interval)
    return Forecast(
        season=season,
        as_of=as_of,
        interval=interval,
        traces=traces,
        heat_to_date=float(traces.expected[traces.known_days - 1]) if traces.known_days else 0.0,
        blocks=tuple(
            _block_forecast(
                block, fit, look, traces.window, span, chance, as_of, interval, killed.get(block.key)
            )
            for block, span, chance in zip(blocks, spans.tolist(), chances.tolist(), strict=True)
        ),
        draws=dataset,
        set_aside=tuple(slips),
        cautions=tuple(
            forecast_cautions(
                fit,
                knowledge,
                traces,
                season,
                as_of,
                slips,
                noted.contradictions,
                noted.disagreements,
                far_off(seen, fit, traces),
            )
        ),
    )


def _heat(
    fit: Fit,
    season: int,
    learned: Sequence[SeasonKnowledge],
    looks: Sequence[SeasonLooks],
    weather_of: IntArray,
    own: Sequence[np.random.Generator],
) -> FloatArray:
    """Drawn heat at each block's stages, from what was learned; shape (draw, block, stage). [°C·day]"""
    return draw_heat(
        learned,
        within=fit.own_spread,
        cultivar_effect=looks[0].cultivar_effect,
        lower=np.stack([each.lower for each in looks]),
        upper=np.stack([each.upper for each in looks]),
        weather_of=weather_of,
        shared=stream(season, "effects"),
        own=own,
        newcomers=[stream(season, "cultivar", one.cultivar) for one in fit.newcomers],
    )


@lru_cache(maxsize=1)
def _heat_of_unseen(
    fit: Fit, season: int, window: SeasonWindow, place: str, blocks: tuple[Block, ...], draws: int
) -> FloatArray:
    """The same where nothing was seen yet: then it does not hang on the day, and a hindcast asks on many days."""
    look = SeasonLooks.of((), blocks, fit, window, np.zeros(window.days))
    heat = _heat(
        fit,
        season,
        [learn(fit, look.units, site=place, season=season)],
        [look],
        np.zeros(draws, dtype=np.int64),
        [stream(season, "block", block.key) for block in blocks],
    )
    heat.flags.writeable = False
    return heat


def _looked_where_traces_differ(seen: Sequence[StageInterval], traces: Traces) -> bool:
    """Whether a look fell on a day by whose end the traces have not the same heat."""
    days = {traces.window.day_index(day) for look in seen for day in (look.after, look.by) if day is not None}
    places = [day for day in days if 0 <= day < traces.window.days]
    return bool(np.any(np.ptp(traces.accumulated[:, places], axis=0) > 0))


def _block_forecast(
    block: Block,
    fit: Fit,
    look: SeasonLooks,
    window: SeasonWindow,
    spans: Sequence[Sequence[float]],
    chances: Sequence[float],
    as_of: dt.date,
    interval: float,
    share_killed: float | None,
) -> BlockForecast:
    """One block's dates; spans and chances by stage, as of `block_spans`."""
    if block.cultivar not in fit.cultivars:
        return BlockForecast(block.key, block.cultivar, "none", {}, "cultivar_not_in_fit", share_killed)
    cultivar = fit.cultivars.index(block.cultivar)
    unit = unit_of(block, look.names)
    stages = {}
    for place, (stage, span, chance) in enumerate(zip(fit.stages, spans, chances, strict=True)):
        low, median, high = (window.date_at(int(day)) if math.isfinite(day) else None for day in span)
        not_yet = look.last_not_yet.get((unit, stage))
        status: Status = "expected"
        if (unit, stage) in look.observed:
            status = "observed"
        elif chance < 0.5 or median is None:
            status = "unlikely"
        elif not_yet is not None and not_yet > usual_heat(fit, cultivar, place, interval)[1]:
            status = "overdue"
        elif median < as_of:
            status = "presumed"
        stages[stage] = StageForecast(
            status=status,
            median=median,
            low=low,
            high=high,
            chance=chance,
            threshold=float(fit.thresholds.mean[cultivar, place]),
            first_look=look.first_look.get((unit, stage)),
        )
    newcomer = next((one for one in fit.newcomers if one.cultivar == block.cultivar), None)
    basis: Basis = "pooled" if np.max(fit.pooled_share[cultivar]) >= MOSTLY_POOLED else "own"
    if newcomer is not None:
        basis = "group"
    return BlockForecast(
        block.key, block.cultivar, basis, stages, share_killed=share_killed, newcomer=newcomer
    )
