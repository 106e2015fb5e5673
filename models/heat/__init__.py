"""From daily temperature extremes to the heat that has built up in a season."""
