"""Numbers along the ways of a feeding tree: one visit a cell, from the feeder outwards."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]
Ints = NDArray[np.int32]
Floats = NDArray[np.float32]

# Ways are measured along chords of this many steps, so that the stairs of the grid do not lengthen them.
CHORD_STEPS = 6


@njit(cache=True, nogil=True)
def outward(following: Ints) -> tuple[Ints, Ints]:
    """Return the cells in an order in which each comes after the next one on its way, and the steps to the end.

    Parameters
    ----------
    following : int32 array (cells,)
        Next cell on the way, the cell itself at its end [-].

    Returns
    -------
    tuple of int32 array (cells,)
        Order and number of steps [-].
    """
    steps = np.full(following.size, -1, np.int32)
    order = np.empty(following.size, np.int32)
    stack = np.empty(following.size, np.int32)
    done = 0
    for start in range(following.size):
        c, high = start, 0
        while steps[c] < 0 and following[c] != c:
            stack[high] = c
            high += 1
            c = following[c]
        if steps[c] < 0:
            steps[c] = 0
            order[done] = c
            done += 1
        for level in range(high - 1, -1, -1):
            step = steps[c] + 1
            c = stack[level]
            steps[c] = step
            order[done] = c
            done += 1
    return order, steps


@njit(cache=True, nogil=True)
def _apart(places: Ints, a: int, b: int) -> float:
    """Return the distance between two cells, in cells."""
    x, y, z = places[a, 0] - places[b, 0], places[a, 1] - places[b, 1], places[a, 2] - places[b, 2]
    return np.sqrt(float(x * x + y * y + z * z))


@njit(cache=True, nogil=True)
def _ahead(places: Ints, following: Ints, start: int, reach: float) -> int:
    """Return the first cell on the way that lies at a distance, or the end of the way."""
    c = start
    while following[c] != c and _apart(places, c, start) < reach:
        c = following[c]
    return c


@njit(cache=True, nogil=True)
def along(
    order: Ints, following: Ints, places: Ints, time: Floats, closes: Floats, wall: Floats, numbers: Floats
) -> None:
    """Fill the numbers of each cell's way; columns length [cells], rising steps [-], slope [s/cell], reserve [-].

    Parameters
    ----------
    order : int32 array (cells,)
        Cells from the feeder outwards [-].
    following : int32 array (cells,)
        Next cell on the way [-].
    places : int32 array (cells, 3)
        Indices along x, y and z [-].
    time, closes : float32 array (cells,)
        When the cell closes, and when its way does [s].
    wall : float32 array (cells,)
        Local wall, in cells [-].
    numbers : float32 array (cells, 4)
        Result.
    """
    for c in order:
        if following[c] == c:
            numbers[c, 0], numbers[c, 1], numbers[c, 2], numbers[c, 3] = 0.0, 0.0, np.nan, np.nan
            continue
        chord = c
        for _ in range(CHORD_STEPS):
            chord = following[chord]
        numbers[c, 0] = numbers[chord, 0] + _apart(places, c, chord)
        # Half a wall leads from the skin to the middle; the wall and a half beyond it run along the part.
        middle = _ahead(places, following, c, 0.5 * wall[c])
        far = _ahead(places, following, middle, 1.5 * wall[c])
        reach = _apart(places, middle, far)
        rise = time[far] - time[middle]
        numbers[c, 2] = rise / reach if reach >= 1.0 else np.nan
        numbers[c, 3] = closes[far] / time[c]
        # On the last stretch, where the feeder itself is reached, there is nothing left to rise.
        numbers[c, 1] = numbers[following[c], 1] + (1.0 if rise > 0.0 or reach < 1.0 else 0.0)
