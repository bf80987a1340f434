"""Statistics of a run and of a part: basis values, strength scatter, largest defects."""

from castq.statistics import bounds, extremes  # noqa: F401
