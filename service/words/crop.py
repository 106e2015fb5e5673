"""Crop as a grower reads it: what was counted, what sources name to try, and whom to ask."""

from __future__ import annotations

from models.vineyard.crop import CaneClusters, Trial

# Sources go by cultivar, not by flower type; a pistillate one is named as easily overcropped (second-hand).
ASK = (
    "How many clusters a vine can ripen differs by cultivar, and research is lacking: there is no rule here. Compare "
    "blocks and seasons, and ask the local extension office before you thin."
)


def trial_words(trial: Trial) -> str:
    """Something to try, and how that is known."""
    return f"{trial.what} ({trial.source})"


def cane_words(found: CaneClusters) -> str:
    """Clusters a cane, as in "12.5 clusters a cane (10.1 to 14.9)"."""
    told = f"{found.mean:.1f} clusters a cane"
    if found.low is None or found.high is None:
        return f"{told}, of one cane"
    return f"{told} ({found.low:.1f} to {found.high:.1f})"
