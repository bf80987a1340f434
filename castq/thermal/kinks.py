"""The heat potential of a metal over its enthalpy as a sum of bends, for the inner loop of the solid solver."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from castq.thermal.heat_table import HeatTable
from castq.thermal.solid_kernel import KINKS

Array = NDArray[np.float64]
_ROUNDS = 8


def bend(table: HeatTable) -> tuple[float, Array, Array]:
    """Return the slope below all kinks, the kinks and the change of slope at each.

    A table with more kinks than the inner loop takes is fitted with as many, kept where they matter most.

    Parameters
    ----------
    table : HeatTable
        The metal, one run.

    Returns
    -------
    tuple of float, array (KINKS,), array (KINKS,)
        Slope [m2/s], enthalpies [J/m3], changes of slope [m2/s].
    """
    knots, slopes = table.bounds_j_m3[0, 1:-1], table.lines[0, :, 1]
    values = table.lines[0, 1:, 0] + slopes[1:] * knots
    kept, fitted = np.arange(knots.size), values
    while kept.size > KINKS:
        # The ends stay, and where freezing ends at one temperature the kink beside it.
        tried = [np.delete(kept, place) for place in range(1, kept.size - 1)]
        fits = [_fitted(knots, values, places) for places in tried]
        best = int(np.argmin([np.abs(np.interp(knots, knots[places], fit) - values).max()
                              if np.all(np.diff(fit) > 0.0) else np.inf
                              for places, fit in zip(tried, fits, strict=True)]))  # fmt: skip
        kept, fitted = tried[best], fits[best]
    inner = np.diff(fitted) / np.diff(knots[kept])
    bends = np.diff(np.concatenate([slopes[:1], inner, slopes[-1:]]))
    spare = KINKS - kept.size
    return float(slopes[0]), np.append(knots[kept], np.full(spare, knots[-1])), np.append(bends, np.zeros(spare))


def _fitted(knots: Array, values: Array, kept: NDArray[np.int64]) -> Array:
    """Return the values at the kinks kept with which straight lines between them come nearest to all values."""
    shares = np.stack([np.interp(knots, knots[kept], unit) for unit in np.eye(kept.size)], axis=1)
    weight, fit = np.ones(knots.size), values[kept]
    for _ in range(_ROUNDS):
        fit = np.asarray(np.linalg.lstsq(shares * weight[:, None], values * weight, rcond=None)[0], dtype=float)
        off = np.abs(shares @ fit - values)
        # What is furthest off counts more: toward the least of the greatest errors.
        weight *= np.sqrt(0.1 + off / max(off.max(), 1e-30))
        weight /= weight.max()
    return fit
