"""Samples for the tests of the melt desk: invented melts of furnace F1."""

from __future__ import annotations

from datetime import UTC, datetime

from castq.melt.types import DensityPair, HydrogenReading, Sample

NOON = datetime(2026, 7, 1, 12, 0, tzinfo=UTC)


def pair(index_pct: float, pressure_mbar: float = 80.0) -> DensityPair:
    """Return a pair of a density index."""
    return DensityPair(2.66, 2.66 * (1.0 - index_pct / 100.0), pressure_mbar)


def sample(
    indices: tuple[float, ...] = (), readings: tuple[float, ...] = (), factor: float | None = 0.68, **more: object
) -> Sample:
    """Return a sample with density indices and hydrogen readings, the factor of the instrument being castq's."""
    return Sample(
        **{"taken_at": NOON, "furnace": "F1", "alloy": "AlSi7Mg0.3", "melt_temp_c": 720.0} | more,  # type: ignore[arg-type]
        pairs=tuple(pair(index) for index in indices),
        readings=tuple(HydrogenReading(value, None, factor) for value in readings),
    )
