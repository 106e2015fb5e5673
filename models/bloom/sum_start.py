"""Whether a sum of heat says anything: one that every season passes soon after its start does not."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from models.bloom.observations import site_heat
from models.bloom.search import BLOOM_AND_LATER, SHORTEST_SUM_DAYS
from models.bloom.site import Site
from models.bloom.thresholds import Fit


def passed_at_start(fit: Fit, sites: Sequence[Site]) -> tuple[tuple[str, str], ...]:
    """Cultivars and stages whose threshold every season of the fit passes in the first days of the sum.

    Bloom and later stages count, where there are any: a sum that starts late for the sake of bloom may well start
    just before budbreak.

    Parameters
    ----------
    fit : Fit
    sites : sequence of Site
        Those that the fit was made from.
    """
    known = {(said.site, said.season) for said in fit.season_evidence}
    every = sorted({season for _, season in known})
    first_days = [
        heat.accumulated[SHORTEST_SUM_DAYS - 1]
        for site in sites
        for heat in site_heat(
            site,
            [season for season in every if (site.place(season), season) in known],
            rule=fit.rule,
            gap_rule=fit.gap_rule,
        ).values()
    ]
    least = min((heat for heat in first_days if not np.isnan(heat)), default=-np.inf)
    deciding = [stage for stage in fit.stages if stage in BLOOM_AND_LATER] or fit.stages
    return tuple(
        (cultivar, stage)
        for row, cultivar in enumerate(fit.cultivars)
        for column, stage in enumerate(fit.stages)
        if stage in deciding and fit.thresholds.mean[row, column] <= least
    )
