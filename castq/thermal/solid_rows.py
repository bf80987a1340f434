"""Cells of a body packed row after row, as the inner loops of the solid solver take them.

A stretch of cells along z begins a new block of `LANES` and fills its last one up with passive cells, so that
the cells of a block always have their neighbours along x, and those along y, side by side in memory.
"""

# Compiled kernels take plain arrays, each by itself.

from __future__ import annotations

from dataclasses import dataclass, field, replace
from weakref import WeakKeyDictionary

import numpy as np
from numba import njit
from numpy.typing import NDArray

from castq.thermal.lanes import LANES, zeros
from castq.thermal.solid_grid import Region
from castq.thermal.solid_kernel import GUARD
from castq.thermal.solid_problem import Problem

Places = NDArray[np.int64]


# What has been packed before, as long as it is in use.
_PACKED: WeakKeyDictionary[Region, tuple[Rows, NDArray[np.int32]]] = WeakKeyDictionary()


@dataclass(frozen=True, slots=True, eq=False)
class Rows(Region):
    """A packed body: its volumes, and all places, are those of packed cells; shape and weights still those of the box.

    Attributes
    ----------
    faces : array (5 x packed cells,)
        Faces to the neighbours before and after along x, before and after along y, and after along z, in hundredths.
    near : int32 array (4 x blocks,)
        Steps from a block to its neighbours before and after along x and along y.
    planes : int array (planes along x + 1,)
        First block of each plane, and the number of blocks.
    most : float
        Largest sum of face weights over volume of any cell [-].
    """

    faces: NDArray[np.generic] = field(kw_only=True)
    near: NDArray[np.int32] = field(kw_only=True)
    planes: Places = field(kw_only=True)
    most: float = field(kw_only=True)

    def stiffest(self) -> float:
        """Return the largest sum of face weights over volume of any cell [-]."""
        return self.most


def packed(problem: Problem) -> Problem:
    """Return a problem whose bodies are packed, all places those of packed cells.

    Parameters
    ----------
    problem : Problem
        By places in the box.

    Returns
    -------
    Problem
        By packed places.
    """
    (casting, at_casting), (die, at_die) = (pack(region) for region in (problem.casting, problem.die))
    links, (place, area), at = problem.links, problem.outer, {"casting": at_casting, "die": at_die}
    start = np.zeros(die.volume.size)
    start[die.active] = problem.die_temp_c[problem.die.active]
    return replace(
        problem,
        casting=casting,
        die=die,
        links=replace(links, casting=_at(at_casting, links.casting), die=_at(at_die, links.die)),
        outer=(_at(at_die, place), area),
        baths=tuple(replace(bath, place=_at(at[bath.body], bath.place)) for bath in problem.baths),
        die_temp_c=start,
    )


def _at(packed_places: NDArray[np.int32], place: Places) -> Places:
    """Return the packed places of cells of the box."""
    return packed_places[place].astype(np.int64)


def pack(region: Region) -> tuple[Rows, NDArray[np.int32]]:
    """Return a body packed, and the packed place of each cell of its box; 0 where the body is not.

    Parameters
    ----------
    region : Region
        Cells in a box.

    Returns
    -------
    tuple of Rows, int32 array
        The packed body and the places.
    """
    if region not in _PACKED:
        _PACKED[region] = _pack(region)
    return _PACKED[region]


def rows_of(region: Region) -> Rows:
    """Return a body that has been packed.

    Parameters
    ----------
    region : Region
        A body of a packed problem.

    Returns
    -------
    Rows
        The same.

    Raises
    ------
    TypeError
        If it has not been packed.
    """
    if not isinstance(region, Rows):
        raise TypeError("the problem is to be packed first")
    return region


def _pack(region: Region) -> tuple[Rows, NDArray[np.int32]]:
    """Return a body packed, and the packed place of each cell of its box."""
    active, (width, depth) = region.active, region.shape[1:]
    row, height = active // depth, active % depth
    fresh = np.concatenate([[True], (np.diff(row) > 0) | (np.diff(active) > LANES)])[: active.size]
    first = np.flatnonzero(fresh)
    ends = np.append(first[1:], active.size) - 1
    lengths = (height[ends] - height[first]) // LANES + 1
    start = np.concatenate([[0], np.cumsum(lengths)])
    run = np.cumsum(fresh) - 1
    place = GUARD + LANES * start[run] + height - height[first][run]
    runs = np.column_stack([row[first], height[first], height[ends], start[:-1]]).astype(np.int64)
    first_run = np.searchsorted(runs[:, 0], np.arange(region.shape[0] * width + 1))
    near = np.zeros((start[-1], 4), dtype=np.int32)
    _find_near(runs, first_run, width, near)
    at = np.zeros(region.volume.size, dtype=np.int32)
    at[active] = place
    size = 2 * GUARD + LANES * int(start[-1])

    volume = np.zeros(size)
    volume[place] = region.volume[active]
    (x, y, z), (along_x, along_y) = region.weights, region.strides.astype(int)
    planes = np.append(start, start[-1])[first_run[::width]]
    pairs = region.pairs
    if pairs is not None:
        pairs = replace(pairs, here=_at(at, pairs.here), there=_at(at, pairs.there))
    faces = zeros(5 * size, x.dtype.type)
    for face, (weight, step) in enumerate(((x, along_x), (x, 0), (y, along_y), (y, 0), (z, 0))):
        faces[face * size : (face + 1) * size][place] = weight[active - step]
    return Rows(
        region.shape, volume, region.weights, pairs, faces=faces, near=near.reshape(-1), planes=planes,
        most=region.stiffest(),
    ), at  # fmt: skip


@njit(cache=True, nogil=True)
def _find_near(runs, first_run, width, near):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Store for each block the steps to the blocks beside it; runs hold row, first and last height, first block."""
    for n in range(runs.shape[0]):
        row, low, high, start = runs[n, 0], runs[n, 1], runs[n, 2], runs[n, 3]
        for side in range(4):
            beside = row + (-width, width, -1, 1)[side]
            if beside < 0 or beside >= first_run.size - 1:
                continue
            other, end = first_run[beside], first_run[beside + 1]
            for b in range((high - low) // LANES + 1):
                bottom = low + b * LANES
                while other < end and runs[other, 2] < bottom:
                    other += 1
                if other < end and runs[other, 1] < bottom + LANES:
                    step = LANES * (runs[other, 3] - start - b) + bottom - runs[other, 1]
                    near[start + b, side] = step
