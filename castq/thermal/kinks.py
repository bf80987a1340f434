"""The heat potential of a metal over its enthalpy as a sum of bends, for the inner loop of the solid solver."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from castq.thermal.heat_table import HeatTable
from castq.thermal.solid_kernel import KINKS

Array = NDArray[np.float64]
# Beyond any enthalpy; a bend there never counts.
_FAR = 1e30


def bend(table: HeatTable) -> tuple[float, Array, Array]:
    """Return the slope below all kinks, the kinks and the change of slope at each.

    A table with more kinks than the inner loop takes loses those that matter least to the potential.

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
    kept = np.arange(knots.size)
    while kept.size > KINKS:
        left, middle, right = kept[:-2], kept[1:-1], kept[2:]
        share = (knots[middle] - knots[left]) / (knots[right] - knots[left])
        off = np.abs(values[left] + share * (values[right] - values[left]) - values[middle])
        kept = np.delete(kept, 1 + int(np.argmin(off)))
    inner = np.diff(values[kept]) / np.diff(knots[kept])
    bends = np.diff(np.concatenate([slopes[:1], inner, slopes[-1:]]))
    spare = KINKS - kept.size
    return float(slopes[0]), np.append(knots[kept], np.full(spare, _FAR)), np.append(bends, np.zeros(spare))
