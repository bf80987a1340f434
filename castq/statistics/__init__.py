"""Statistics of runs, parts and tests: basis values, largest defects, charts, measurement studies, agreement."""

from castq.statistics import agreement, bounds, capability, extremes, planning  # noqa: F401
