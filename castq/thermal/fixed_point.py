"""Fixed points of slow maps, found with fewer turns than the map itself needs.

Anderson mixing (Anderson, J. ACM 12 (1965) 547; Walker and Ni, SIAM J. Numer. Anal. 49 (2011) 1715): the last few turns
tell how the change of a turn depends on the state; the state is sought at which the change vanishes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
# Turns that are remembered.
VECTORS = 3
# A change this many times the smallest so far is a sign that the memory misleads.
_WORSE = 1.5
_RANK = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class FixedPoint:
    """Where a map stands still.

    Attributes
    ----------
    state : array
        The best estimate of it.
    change : float
        Largest change of the state over the last turn.
    turns : int
        How often the map was called.
    found : bool
        Whether change and remaining correction came below the tolerance, and the turn was good enough.
    steps : tuple of (array, array)
        Last differences of the state, and of its change, from turn to turn.
    """

    state: Array
    change: float
    turns: int
    found: bool
    steps: tuple[tuple[Array, Array], ...]


def fixed_point(
    turn: Callable[[Array], Array],
    start: Array,
    *,
    bounds: tuple[float, float],
    tolerance: float,
    most: int = 40,
    steps: tuple[tuple[Array, Array], ...] = (),
    enough: Callable[[], bool] = lambda: True,
) -> FixedPoint:
    """Return the state that a map leaves as it is.

    Parameters
    ----------
    turn : callable
        The map; brings any start nearer to its fixed point.
    start : array
        First state.
    bounds : tuple of float
        Physical range, to which each guess is clipped.
    tolerance : float
        Largest change over a turn, and largest correction left, at which to stop.
    most : int
        Turns after which to give up [-].
    steps : tuple of (array, array)
        Differences of state and change known beforehand, from a like problem.
    enough : callable
        Whether the last turn was good in other respects too; asked before stopping.

    Returns
    -------
    FixedPoint
        State and how it was found.
    """
    state, best, known = start, np.inf, list(steps)
    last: tuple[Array, Array] | None = None
    for number in range(1, most + 1):
        after = turn(state)
        change = after - state
        size = float(np.abs(change).max())
        if last is not None:
            known.append((state - last[0], change - last[1]))
        if size > _WORSE * best:
            known = []
        best, last = min(best, size), (state, change)
        known = known[-VECTORS:]
        ahead = np.clip(_mixed(after, change, known), *bounds)
        left = float(np.abs(ahead - after).max())
        found = bool(known) and max(size, left) <= tolerance and enough()
        if found or number == most:
            break
        state = ahead
    return FixedPoint(ahead, size, number, found, tuple(known))


def _mixed(after: Array, change: Array, known: list[tuple[Array, Array]]) -> Array:
    """Return the state at which the change would vanish by all that is known; the next one when nothing is."""
    if not known:
        return after
    states, changes = (np.stack([pair[side] for pair in known], axis=1) for side in (0, 1))
    share = np.linalg.lstsq(changes, change, rcond=_RANK)[0]
    return np.asarray(after - (states + changes) @ share)
