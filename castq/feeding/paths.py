"""The way of each cell to the feeder: when it closes, where, how it slopes, and the Niyama value along it.

Of all ways to the feeder the one counts whose earliest-closing cell closes last.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.errors import input_error
from castq.feeding import paths_kernel as kernel
from castq.feeding.flood import Flood
from castq.physics.niyama import dimensionless_niyama, niyama_from_times

Floats = NDArray[np.float32]
Array = NDArray[np.float64]
Ints = NDArray[np.int32]

# A drawn way is smoothed over this many cells to each side, so that the stairs of the grid do not show.
SMOOTH_CELLS = 3


@dataclass(frozen=True, slots=True, eq=False)
class FeedingPaths:
    """Ways to the feeder; one value a cell of the flood, `flood.on_grid` makes fields of them.

    Attributes
    ----------
    flood : Flood
        The pools that the ways belong to.
    closes_s : float32 array (cells,)
        When the way closes, the cell itself counted with it [s].
    margin : float32 array (cells,)
        That over the cell's own cut-off time [-]: 1 where it is fed to the end, below 1 where it is cut off; the
        share of its time during which metal and pressure reach it.
    reserve : float32 array (cells,)
        When the way closes that lies ahead of about two local walls, over the cell's own cut-off time [-]; above 1
        what feeds it stays open longer. NaN at the end of a way.
    choke : int32 array (cells,)
        Cell that closes first on the way [-]; -1 where there never was a way.
    length_mm : float32 array (cells,)
        Length of the way [mm]; NaN where there never was one.
    rising_share : float32 array (cells,)
        Share of the way along which cut-off time rises towards the feeder, seen over a wall and a half [-].
    slope_s_mm : float32 array (cells,)
        Rise of the cut-off time towards the feeder over a wall and a half, half a wall ahead of the cell [s/mm];
        negative where what feeds closes first, NaN where the feeder is nearer than that.
    """

    flood: Flood
    closes_s: Floats
    margin: Floats
    reserve: Floats
    choke: Ints
    length_mm: Floats
    rising_share: Floats
    slope_s_mm: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """One way, from a place to the feeder.

    Attributes
    ----------
    cells : int array (n, 3)
        Indices of the cells along x, y and z [-].
    line : array (n, 3)
        The same way smoothed, in cells from the middle of the first cell of the grid [-].
    cutoff_s : float32 array (n,)
        Cut-off time along it [s].
    choke : int
        Which of the cells closes first [-].
    """

    cells: Ints
    line: Array
    cutoff_s: Floats
    choke: int


def feeding_paths(flooded: Flood, wall_mm: Floats) -> FeedingPaths:
    """Return the way of every cell.

    Parameters
    ----------
    flooded : Flood
        Pools of the cut-off times.
    wall_mm : float32 array (nx, ny, nz)
        Local wall: the length over which slopes are taken [mm].

    Returns
    -------
    FeedingPaths
        When, where and how each way closes.
    """
    time, following = flooded.cutoff_s, flooded.following
    root = _root_pools(flooded)[flooded.branch]
    fed = root < 0
    cut = np.append(flooded.cut_s, np.inf).astype(np.float32)[root]
    closes = np.where(fed, time, cut)
    choke = np.where(fed, np.arange(time.size, dtype=np.int32), np.append(flooded.choke, -1)[root])
    places = np.column_stack(np.unravel_index(flooded.flat, flooded.shape)).astype(np.int32)
    order, steps = kernel.outward(following)
    numbers = np.empty((time.size, 4), dtype=np.float32)
    wall = (wall_mm.ravel()[flooded.flat] / flooded.spacing_mm).astype(np.float32)
    kernel.along(order, following, places, time, closes, wall, numbers)
    never = choke < 0
    numbers[never, :3] = np.nan
    with np.errstate(invalid="ignore", divide="ignore"):
        return FeedingPaths(
            flood=flooded,
            closes_s=closes,
            margin=np.where(fed, np.float32(1.0), closes / time),
            reserve=numbers[:, 3],
            choke=choke.astype(np.int32),
            length_mm=numbers[:, 0] * np.float32(flooded.spacing_mm),
            rising_share=np.where(steps > 0, numbers[:, 1] / np.maximum(steps, 1), np.float32(1.0)),
            slope_s_mm=numbers[:, 2] / np.float32(flooded.spacing_mm),
        )


def _root_pools(flooded: Flood) -> Ints:
    """Return for each pool the one that parts from the feeder; one entry more, for cells that are fed."""
    root = np.append(np.where(flooded.into < 0, np.arange(flooded.into.size), flooded.into), -1).astype(np.int32)
    while not np.array_equal(root[root], root):
        root = root[root]
    return root


def way_from(paths: FeedingPaths, place: tuple[int, int, int]) -> Way:
    """Return the way from a cell to the feeder.

    Parameters
    ----------
    paths : FeedingPaths
        All ways.
    place : tuple of int
        Indices of the cell along x, y and z [-].

    Returns
    -------
    Way
        Cells in order, the feeder last.

    Raises
    ------
    InputError
        If there is no metal at the place.
    """
    flooded = paths.flood
    c = flooded.number(place)
    if c < 0:
        raise input_error(
            "feeding path", "place", f"no metal in cell {place}", "a cell of the casting", "choose another"
        )
    found = [c]
    while flooded.following[c] != c:
        c = int(flooded.following[c])
        found.append(c)
    cells = np.column_stack(np.unravel_index(flooded.flat[found], flooded.shape)).astype(np.int32)
    cutoff = flooded.cutoff_s[found]
    return Way(cells, _smoothed(cells), cutoff, int(np.argmin(cutoff)))


def _smoothed(cells: Ints) -> Array:
    """Return the running mean of a way, its window narrowing towards the ends so that these stay in place."""
    count = len(cells)
    here = np.arange(count)
    half = np.minimum(SMOOTH_CELLS, np.minimum(here, count - 1 - here))
    total = np.vstack([np.zeros(3), np.cumsum(cells, axis=0)])
    return (total[here + half + 1] - total[here - half]) / (2 * half + 1)[:, None]


def way_niyama(paths: FeedingPaths, cooling_rate_k_s: ArrayLike) -> Array:
    """Return the Niyama value along the way.

    Parameters
    ----------
    paths : FeedingPaths
        All ways.
    cooling_rate_k_s : array_like (cells,)
        Cooling rate near the end of freezing [K/s].

    Returns
    -------
    array (cells,)
        Niyama value [(K s)^0.5/mm]; NaN where what feeds closes first, and next to the feeder.
    """
    slope = np.where(paths.slope_s_mm >= 0.0, paths.slope_s_mm, np.float32(np.nan))
    return niyama_from_times(cooling_rate_k_s, slope)


def way_dimensionless_niyama(
    paths: FeedingPaths,
    cooling_rate_k_s: ArrayLike,
    sdas_um: ArrayLike,
    *,
    closed_atm: ArrayLike,
    held_atm: ArrayLike,
    shrinkage_pct: float,
    freezing_range_k: float,
) -> Array:
    """Return the dimensionless Niyama value along the way; pressure from outside counts while the way is open.

    Parameters
    ----------
    paths : FeedingPaths
        All ways.
    cooling_rate_k_s : array_like (cells,)
        Cooling rate near the end of freezing [K/s].
    sdas_um : array_like (cells,)
        Secondary dendrite arm spacing [um].
    closed_atm, held_atm : array_like
        Pressure that can drive feeding without what the feeder adds, and that addition [atm].
    shrinkage_pct : float
        Solidification shrinkage [%].
    freezing_range_k : float
        Liquidus less end of freezing [K].

    Returns
    -------
    array (cells,)
        Dimensionless Niyama value [-]; NaN where the Niyama value is.
    """
    drive = np.asarray(closed_atm, dtype=float) + np.asarray(held_atm, dtype=float) * paths.margin
    niyama = way_niyama(paths, cooling_rate_k_s)
    return dimensionless_niyama(niyama, sdas_um, drive, shrinkage_pct, freezing_range_k)
