"""Crop as a grower reads it: what was counted, what sources name to try, and whom to ask."""

from __future__ import annotations

from models.vineyard.crop import CaneClusters, Trial
from service.words.language import N_, _

TRIALS = {
    "cluster_counts": N_(
        "cluster counts (named in extension texts, second-hand; research is said to be lacking)"
    ),
    "spur_spacing": N_(
        "spur spacing (named in extension texts, second-hand; research is said to be lacking)"
    ),
    "thinning": N_(
        "thinning by hand (named in extension texts, second-hand; research is said to be lacking)"
    ),
}


def whom_to_ask() -> str:
    """That there is no rule. Sources go by cultivar; a pistillate one is named as easily overcropped (second-hand)."""
    return _(
        "How many clusters a vine can ripen differs by cultivar, and research is lacking: there is no rule here. "
        "Compare blocks and seasons, and ask the local extension office before you thin."
    )


def trial_words(trial: Trial) -> str:
    """Something to try, and how that is known."""
    return _(TRIALS[trial])


def cane_words(found: CaneClusters) -> str:
    """Clusters a cane, as in "12.5 clusters a cane (10.1 to 14.9)"."""
    mean = f"{found.mean:.1f}"
    if found.low is None or found.high is None:
        return _("{mean} clusters a cane, of one cane", mean=mean)
    return _(
        "{mean} clusters a cane ({low} to {high})",
        mean=mean,
        low=f"{found.low:.1f}",
        high=f"{found.high:.1f}",
    )
