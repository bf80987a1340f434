"""Feeding: pools that are cut off from the feeder, the ways metal takes, and zones of risk."""
