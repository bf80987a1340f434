"""The way of each place as a whole: how long it stays open beyond the place's own zone, and its mean slope."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from castq.feeding.paths import FeedingPaths
from castq.feeding.paths_kernel import outward
from castq.physics.niyama import niyama_from_times

Array = NDArray[np.float64]
Floats = NDArray[np.float32]
Ints = NDArray[np.int32]


def zone_margin(paths: FeedingPaths, codes: NDArray[np.int8], cut_off: NDArray[np.bool_]) -> Floats:
    """Return when the way of each cell closes beyond the cell's own zone, over the cell's own cut-off time.

    Parameters
    ----------
    paths : FeedingPaths
        All ways.
    codes : int8 array (nx, ny, nz)
        Zone of each cell of the grid [-].
    cut_off : bool array (cells,)
        Cells that lie in an island.

    Returns
    -------
    float32 array (cells,)
        Margin [-]: below 1 in an island, whether it is choked within its zone or beyond it; 1 or more elsewhere, since
        what closes early there is noise of the field; infinite where the way ends in the cell's own zone.
    """
    flooded = paths.flood
    order, _ = outward(flooded.following)
    beyond = np.empty(flooded.cutoff_s.size, dtype=np.float32)
    _beyond(order, flooded.following, codes.ravel()[flooded.flat], paths.closes_s, beyond)
    margin = beyond / flooded.cutoff_s
    return np.where(cut_off, np.minimum(paths.margin, margin), np.maximum(margin, np.float32(1.0)))


@njit(cache=True, nogil=True)
def _beyond(order: Ints, following: Ints, codes: NDArray[np.int8], closes: Floats, beyond: Floats) -> None:
    """Fill when each way closes from the first cell of another zone on; cells from the feeder outwards."""
    for c in order:
        ahead = following[c]
        if ahead == c:
            beyond[c] = np.inf
        elif codes[ahead] == codes[c]:
            beyond[c] = beyond[ahead]
        else:
            beyond[c] = closes[ahead]


def whole_way_niyama(paths: FeedingPaths, cooling_rate_k_s: ArrayLike) -> Array:
    """Return the Niyama value of the mean slope of the whole way.

    Parameters
    ----------
    paths : FeedingPaths
        All ways.
    cooling_rate_k_s : array_like (cells,)
        Cooling rate near the end of freezing [K/s].

    Returns
    -------
    array (cells,)
        Niyama value [(K s)^0.5/mm]; NaN on the feeder, and where the feeder closes first.

    Notes
    -----
    When a thin wall stops passing metal, all of the way to the feeder has begun to freeze: what it is fed through is
    the whole way. The slope over a wall or two is that of the grid wherever the wall is even; and since an even wall
    leaves the way to the grid as well, its length is taken straight from the place to where it ends.
    """
    flooded = paths.flood
    end = flooded.following
    while not np.array_equal(end[end], end):
        end = end[end]
    rise = flooded.cutoff_s[end] - flooded.cutoff_s
    places = np.column_stack(np.unravel_index(flooded.flat, flooded.shape)).astype(np.float32)
    length_mm = flooded.spacing_mm * np.linalg.norm(places[end] - places, axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        slope = np.where((rise > 0.0) & (length_mm > 0.0), rise / length_mm, np.nan)
    return niyama_from_times(cooling_rate_k_s, slope)
