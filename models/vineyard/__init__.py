"""From forecast bloom to pollen cover, planting, walks and frost."""
