"""Simulated samples for the chart tests: invented furnaces, nothing of a real plant."""

from __future__ import annotations

import numpy as np
import pandas as pd


def simulated(
    furnaces: int, before: int, week: int, *, shift: float = 0.0, level: float = 1.2, hours: float = 4.0, seed: int = 1
) -> pd.DataFrame:
    """Return samples of steady furnaces whose last `week` samples lie `shift` standard deviations higher.

    The scatter is 25 % of the density index, lognormal, and 0.09 points of weighing error.
    """
    rng, count = np.random.default_rng(seed), before + week
    z = rng.normal(size=(furnaces, count))
    z[:, before:] += shift
    values = level * np.exp(0.25 * z) + 0.09 * rng.normal(size=z.shape)
    at = pd.Timestamp("2026-11-02T06:00", tz="Europe/Berlin") + pd.to_timedelta(np.arange(count) * hours, unit="h")
    names = np.char.mod("%04d", np.arange(furnaces))
    return pd.DataFrame({
        "sequence": np.arange(1, furnaces * count + 1),
        "at": np.tile(at, furnaces),
        "furnace": np.repeat(names, count),
        "density_index_pct": values.ravel(),
    })  # fmt: skip
