"""A sector with rotational order but no mirror: what leaves it through one plane comes in through the other.

A cell at either plane has its neighbour beyond the plane in the next sector, which is the same as a place inside the
sector turned by one repeat. Each such pair of cells exchanges heat like neighbours do, and both see the same heat.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from castq.thermal.die_growth import Sector
from castq.thermal.solid_grid import FULL_FACE, Cells, Pairs, Region

Array = NDArray[np.float64]
Places = NDArray[np.int64]
# Each pair is found from both of its cells.
_EACH_SIDE = 0.5
# The most that faces at a plane count, lest the steps become short, and the least distance or share in a neighbour.
_HEAVIEST = 2.0
_LEAST_SHARE = 0.05


def joined(cells: Cells, sector: Sector | None, origin_mm: Array, spacing_mm: float) -> Cells:
    """Return the bodies of a turning sector with its two planes joined; any others as they are.

    Parameters
    ----------
    cells : Cells
        Casting and die.
    sector : Sector, optional
        The part of the shape that they fill.
    origin_mm : array (3,)
        Lower corner of their box; the axis is at x = y = 0 [mm].
    spacing_mm : float
        Edge of a voxel [mm].

    Returns
    -------
    Cells
        The bodies, with pairs.
    """
    if sector is None or not sector.turning:
        return cells
    columns = _columns(cells.casting.shape, sector, origin_mm, spacing_mm)
    return replace(cells, casting=_paired(cells.casting, *columns), die=_paired(cells.die, *columns))


def _paired(region: Region, first: Places, second: Places, share: Array) -> Region:
    """Return a body whose cells in pairs of columns exchange heat at each height where both are filled."""
    held = region.volume.reshape(-1, region.shape[2])
    pair, height = np.nonzero((held[first] > 0.0) & (held[second] > 0.0))
    here, there = (column[pair] * region.shape[2] + height for column in (first, second))
    faces = 0.5 * (region.volume[here] + region.volume[there])
    return replace(region, pairs=Pairs(here, there, FULL_FACE * share[pair] * faces))


def joint(region: Region, real: type[np.floating]) -> tuple[NDArray[np.generic], ...]:
    """Return what the march needs of the pairs of a body; nothing when it has none.

    Parameters
    ----------
    region : Region
        Cells of one body.
    real : type
        Kind of number of its fields.

    Returns
    -------
    tuple of array
        Both cells of each pair, its weight, and the cells in any pair.
    """
    if region.pairs is None:
        return ()
    here, there = region.pairs.here, region.pairs.there
    return here, there, region.pairs.weight.astype(real), np.unique(np.concatenate([here, there]))


def _columns(shape: tuple[int, int, int], sector: Sector, origin_mm: Array, spacing_mm: float) -> tuple[
    Places, Places, Array
]:  # fmt: skip
    """Return pairs of columns of cells along the axis that exchange heat, and in which share of a full face.

    The neighbour beyond a plane lies, turned back, among four columns, which share in it as in an interpolation. A face
    of the steps along the plane counts with its projection on the plane, and heat flows over the true distance across
    the plane, so that a uniform gradient drives through all pairs what it drives through the true plane.
    """
    x, y = (origin_mm[axis] + spacing_mm * (np.arange(shape[axis]) + 0.5) for axis in (0, 1))
    wedge = sector.holds(x[:, None], y[None, :])
    found = []
    for step in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        here = np.argwhere(wedge)
        here = here[~_within(wedge, here + step)]
        beyond = _middles(here + step, origin_mm, spacing_mm)
        turned = (np.stack(sector.folded(*beyond), axis=-1) - origin_mm[:2]) / spacing_mm - 0.5
        part = turned - np.floor(turned)
        place = np.floor(turned).astype(np.int64) + np.array(list(np.ndindex(2, 2)))[:, None]
        share = np.stack([a * b for a in (1.0 - part[:, 0], part[:, 0]) for b in (1.0 - part[:, 1], part[:, 1])])
        share[~_within(wedge, place)] = 0.0
        share /= np.maximum(share.sum(axis=0), _LEAST_SHARE)
        planes = _planes(sector, *beyond)
        apart = sum(_off(plane, *_middles(columns, origin_mm, spacing_mm)) for plane, columns in
                    zip(planes, (here, place), strict=True)) / spacing_mm  # fmt: skip
        face = _off(planes[0], float(step[0]), float(step[1])) / np.maximum((share * apart).sum(axis=0), _LEAST_SHARE)
        share *= np.minimum(face, _HEAVIEST)
        found.append((np.broadcast_to(here @ [shape[1], 1], share.shape), place @ [shape[1], 1], share))
    return _merged(*(np.concatenate(parts, axis=1).ravel() for parts in zip(*found, strict=True)))


def _planes(sector: Sector, x: Array, y: Array) -> tuple[Array, Array]:
    """Return the angle of the plane nearer to points outside, and that of the other [rad]."""
    middle = sector.start_rad + 0.5 * sector.span_rad
    before = (np.arctan2(y, x) - middle) % (2.0 * np.pi) > np.pi
    ends = sector.start_rad, sector.start_rad + sector.span_rad
    return np.where(before, *ends), np.where(before, *ends[::-1])


def _off(plane_rad: Array, x: Array | float, y: Array | float) -> Array:
    """Return the distance of points from a plane through the axis."""
    return np.asarray(np.abs(x * np.sin(plane_rad) - y * np.cos(plane_rad)))


def _middles(place: Places, origin_mm: Array, spacing_mm: float) -> tuple[Array, Array]:
    """Return where the middles of columns lie [mm]."""
    return (
        origin_mm[0] + spacing_mm * (place[..., 0] + 0.5),
        origin_mm[1] + spacing_mm * (place[..., 1] + 0.5),
    )


def _within(wedge: NDArray[np.bool_], place: Places) -> NDArray[np.bool_]:
    """Return whether columns lie in the box and in the sector."""
    top = np.array(wedge.shape) - 1
    clipped = np.clip(place, 0, top)
    held = wedge[clipped[..., 0], clipped[..., 1]]
    return np.asarray(held & np.all((place >= 0) & (place <= top), axis=-1))


def _merged(first: Places, second: Places, share: Array) -> tuple[Places, Places, Array]:
    """Return each pair of two columns once, with the sum of its shares."""
    low, high = np.minimum(first, second), np.maximum(first, second)
    apart = (low != high) & (share > 0.0)
    size = int(high.max(initial=0)) + 1
    key, back = np.unique(low[apart] * size + high[apart], return_inverse=True)
    total = np.bincount(back, share[apart], minlength=key.size).astype(float)
    return key // size, key % size, _EACH_SIDE * total
