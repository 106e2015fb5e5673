"""From heat and observed dates to thresholds, forecast bloom windows and their proven skill."""
