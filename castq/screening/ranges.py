"""How far outside its range a relation was used, and what that does to a band."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

EDGE, OUTSIDE, FAR = 1, 2, 3
EDGE_WIDENING = 1.5


def widened(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return draws spread out by half around their median, never below zero; as they are without a median."""
    middle = np.median(values)
    if not np.isfinite(middle):
        return values
    return np.asarray(np.maximum(middle + EDGE_WIDENING * (values - middle), 0.0))
