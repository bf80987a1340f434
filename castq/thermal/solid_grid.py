"""Casting and die as two sets of cells with true volumes, coupled by the true surface between them.

A voxel at least half filled is a cell of the casting, one less filled a cell of the die. What a voxel holds of the
other side is added to the nearest cell there, so no cell is small and no volume is lost. The surface is cut into
patches, and each couples the casting cell behind it with the die cell before it: the cooling surface is that of the
mesh, not that of the voxel faces, which overstate it by up to half.
"""

# Compiled kernels take plain arrays, each by itself.

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from castq.thermal.solid_patches import Patches

# Face weights are stored in hundredths of a full face.
FULL_FACE = 100
_HEAVIEST = 255
# How far from its voxel, in voxels, a small share of volume may be carried.
_REACH = 3
_LIKING = 0.9
# A patch belongs to the voxels just behind and just before it, this far from it, in voxels.
_BESIDE = 0.02
_SHORTEST, _LONGEST = 0.05, 2.0
# Bounds of the distance between the middles of neighbours, in voxels.
_APART = (0.5, 2.0)
# Skin that looks one way within a block of this edge leaves the die as one piece.
SKIN_BLOCK_MM = 10.0
# Runs end on multiples of this many cells, so that the processor's wide registers are filled.
LANES = 16

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Shape = tuple[int, int, int]


@dataclass(frozen=True, slots=True, eq=False)
class Region:
    """Cells of one body in a padded box, stored flat.

    Attributes
    ----------
    shape : tuple of int
        Cells of the box along x, y and z; no active cell touches its sides.
    volume : array (cells of the box,)
        Volume of each cell, in voxels; 0 where the body is not.
    weights : tuple of three uint8 arrays (cells of the box,)
        Face from each cell to the next along x, y and z, in hundredths of a full face.
    """

    shape: Shape
    volume: Array
    weights: tuple[NDArray[np.uint8], NDArray[np.uint8], NDArray[np.uint8]]

    @property
    def active(self) -> NDArray[np.int64]:
        """Flat places of the cells that the body fills."""
        return np.flatnonzero(self.volume)

    @property
    def strides(self) -> NDArray[np.uint64]:
        """Steps to the next cell along x and y in the flat box."""
        return np.array([self.shape[1] * self.shape[2], self.shape[2]], dtype=np.uint64)

    @property
    def runs(self) -> NDArray[np.uint64]:
        """Stretches of cells to work through, array (n, 2): first and end, some passive cells included."""
        blocks = np.unique(self.active // LANES)
        first = np.concatenate([[True], np.diff(blocks) > 1])
        ends = np.append(np.flatnonzero(first)[1:], len(blocks)) - 1
        return np.column_stack([blocks[first], blocks[ends] + 1]).astype(np.uint64) * np.uint64(LANES)

    def stiffest(self) -> float:
        """Return the largest sum of face weights over volume of any cell, at least 1 [-]; 6 among whole voxels."""
        faces = np.zeros(self.volume.size)
        for weight, step in zip(self.weights, (*self.strides.astype(int), 1), strict=True):
            shares = weight / FULL_FACE
            faces += shares
            faces[step:] += shares[:-step]
        place = self.active
        return max(float((faces[place] / self.volume[place]).max()), 1.0)


@dataclass(frozen=True, slots=True, eq=False)
class Links:
    """Pairs of casting and die cells that share surface, arrays (links,).

    Attributes
    ----------
    casting, die : int array
        Flat places of the two cells.
    area : array
        Shared surface, in voxel faces.
    casting_half, die_half : array
        Distance from the middle of each cell to the surface, in voxels.
    piece : int array
        Number of the piece of skin that leaves the die as one.
    """

    casting: NDArray[np.int64]
    die: NDArray[np.int64]
    area: Array
    casting_half: Array
    die_half: Array
    piece: NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Casting and die of one shape.

    Attributes
    ----------
    casting, die : Region
        The two bodies.
    links : Links
        The surface between them.
    casting_owner : int array (cells of the box,)
        Flat place of the casting cell that holds a voxel's metal; -1 where there is none.
    surface_share : float
        Share of the surface that is linked [-].
    """

    casting: Region
    die: Region
    links: Links
    casting_owner: NDArray[np.int64]
    surface_share: float


def cut_cells(fraction: NDArray[np.float32], die: Mask, inside: Mask, patches: Patches, spacing_mm: float) -> Cells:
    """Return the cells of casting and die.

    Parameters
    ----------
    fraction : float32 array (nx, ny, nz)
        Share of each voxel that is metal of the casting [-].
    die : bool array (nx, ny, nz)
        Voxels less than half filled that the die reaches.
    inside : bool array (nx, ny, nz)
        Voxels that are solved; all but the frame of the box, or a sector of it.
    patches : Patches
        The surface, positions from the lower corner of the box [mm].
    spacing_mm : float
        Edge of a voxel [mm].

    Returns
    -------
    Cells
        Volumes, face weights and links.
    """
    masks = (inside & (fraction >= 0.5), die & inside & (fraction < 0.5))
    shares = (np.where(inside, fraction, 0.0), np.where(inside & (die | (fraction >= 0.5)), 1.0 - fraction, 0.0))
    points = patches.points_mm / spacing_mm
    behind, before = (_place(points + side * _BESIDE * patches.normals, masks[0].shape) for side in (-1.0, 1.0))
    # A patch goes with the voxel that holds it, as volume does, so that both stay in proportion at a cut plane.
    solved = inside.reshape(-1)[behind]
    points, normals, area = points[solved], patches.normals[solved], patches.area_mm2[solved] / spacing_mm**2
    touched = (behind[solved], before[solved])
    owners = [
        _owners(mask, share, place, turn * normals)
        for turn, mask, share, place in zip((-1.0, 1.0), masks, shares, touched, strict=True)
    ]
    volumes = [_gathered(owner, share) for owner, share in zip(owners, shares, strict=True)]
    sides = [owner[place] for owner, place in zip(owners, touched, strict=True)]
    held = (sides[0] >= 0) & (sides[1] >= 0)
    surface_share = float(area[held].sum() / max(area.sum(), 1e-30))
    points, normals, area, sides = points[held], normals[held], area[held], [side[held] for side in sides]
    skins = [
        _Skin.of(cell, area, turn * normals, volume)
        for turn, cell, volume in zip((1.0, -1.0), sides, volumes, strict=True)
    ]
    halves = [
        turn * np.einsum("ij,ij->i", points - _middle(cell, masks[0].shape) - skin.shift[:, cell].T, normals)
        for turn, cell, skin in zip((1.0, -1.0), sides, skins, strict=True)
    ]
    regions = [
        Region(masks[0].shape, volume, _weights(mask, volume, skin))
        for mask, volume, skin in zip(masks, volumes, skins, strict=True)
    ]
    return Cells(
        regions[0],
        regions[1],
        _links(sides, area, halves, _pieces_of_skin(points, normals, spacing_mm)),
        owners[0],
        surface_share,
    )


def whole_cells(mask: Mask) -> Region:
    """Return a body of whole voxels.

    Parameters
    ----------
    mask : bool array (nx, ny, nz)
        Voxels of the body, none of them on the sides of the box.

    Returns
    -------
    Region
        Cells of full volume and full faces.
    """
    volume = mask.astype(float).reshape(-1)
    bare = _Skin(np.zeros(mask.size), np.zeros((3, mask.size)), np.zeros((3, mask.size)))
    return Region(mask.shape, volume, _weights(mask, volume, bare))


@dataclass(frozen=True, slots=True, eq=False)
class _Skin:
    """Surface of each cell of a body, arrays over the box.

    `area` in voxel faces; `facing`: part of it that looks along x, y and z; `shift`: how far the middle of the cell's
    volume lies beyond that of its voxel, in voxels.
    """

    area: Array
    facing: Array
    shift: Array

    @classmethod
    def of(cls, cell: NDArray[np.int64], area: Array, normals: Array, volume: Array) -> _Skin:
        """Return the surface of each cell from that of its patches, their normals pointing out of the body."""
        total = _summed(cell, area, volume.size)
        facing = np.stack([_summed(cell, area * part**2, volume.size) for part in normals.T])
        looks = np.stack([_summed(cell, area * part, volume.size) for part in normals.T])
        np.divide(looks, total, out=looks, where=total > 0.0)
        return cls(total, facing, 0.5 * np.where(total > 0.0, volume - 1.0, 0.0) * looks)


def _owners(mask: Mask, share: NDArray[np.floating], touched: NDArray[np.int64], inward: Array) -> NDArray[np.int64]:
    """Return the flat place of the cell nearest to each voxel with a share or a patch; -1 where none is near.

    Of cells about as near, the one behind the surface is taken, lest its neighbours crowd one way out.
    """
    wanted = share > 0.0
    wanted.reshape(-1)[touched] = True
    behind = np.stack([np.bincount(touched, part, minlength=mask.size) for part in inward.T], axis=1)
    length = np.linalg.norm(behind, axis=1, keepdims=True)
    np.divide(behind, length, out=behind, where=length > 0.0)
    owner = np.where(mask, np.arange(mask.size).reshape(mask.shape), -1)
    places = np.argwhere(wanted & ~mask)
    _find_owners(mask, places, _REACH, behind[np.ravel_multi_index(tuple(places.T), mask.shape)], owner)
    return owner.reshape(-1)


@njit(cache=True, nogil=True)
def _find_owners(mask, wanted, reach, inward, owner):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Store for each wanted voxel the flat place of the nearest cell within reach, with a liking for one direction."""
    nx, ny, nz = mask.shape
    for row in range(wanted.shape[0]):
        i, j, k = wanted[row]
        nearest = 1e30
        for a in range(max(i - reach, 0), min(i + reach, nx - 1) + 1):
            for b in range(max(j - reach, 0), min(j + reach, ny - 1) + 1):
                for c in range(max(k - reach, 0), min(k + reach, nz - 1) + 1):
                    if mask[a, b, c]:
                        along = (a - i) * inward[row, 0] + (b - j) * inward[row, 1] + (c - k) * inward[row, 2]
                        cost = (a - i) ** 2 + (b - j) ** 2 + (c - k) ** 2 - _LIKING * along
                        if cost < nearest:
                            nearest = cost
                            owner[i, j, k] = (a * ny + b) * nz + c


def _summed(place: NDArray[np.int64], amounts: Array, count: int) -> Array:
    """Return the sum of the amounts at each of a number of places."""
    return np.bincount(place, amounts, minlength=count).astype(float)


def _gathered(owner: NDArray[np.int64], share: NDArray[np.float64]) -> Array:
    """Return the volume of each cell: its own share and those carried to it."""
    flat = share.reshape(-1)
    held = (owner >= 0) & (flat > 0.0)
    return _summed(owner[held], flat[held], flat.size)


def _pieces_of_skin(points: Array, normals: Array, spacing_mm: float) -> NDArray[np.int64]:
    """Return for each patch the number of the piece of skin it belongs to."""
    axis = np.abs(normals).argmax(axis=1)
    way = 2 * axis + (np.take_along_axis(normals, axis[:, None], axis=1)[:, 0] > 0.0)
    blocks = np.floor(points * spacing_mm / SKIN_BLOCK_MM).astype(np.int64)
    keys = np.column_stack([blocks - blocks.min(axis=0, initial=0), way])
    return np.ravel_multi_index(tuple(keys.T), tuple(keys.max(axis=0, initial=0) + 1))


def _links(sides: list[NDArray[np.int64]], area: Array, halves: list[Array], piece: NDArray[np.int64]) -> Links:
    """Return one link for each pair of cells that share surface."""
    size = int(sides[1].max(initial=0)) + 1
    key, first, link = np.unique(sides[0] * size + sides[1], return_index=True, return_inverse=True)
    total = _summed(link, area, key.size)
    casting, die = (np.clip(_summed(link, area * half, key.size) / total, _SHORTEST, _LONGEST) for half in halves)
    numbers = np.unique(piece[first], return_inverse=True)[1]
    return Links(key // size, key % size, total, casting, die, numbers)


def _place(points: Array, shape: Shape) -> NDArray[np.int64]:
    """Return the flat place of the voxel that holds each point."""
    cells = np.clip(np.floor(points).astype(np.int64), 0, np.array(shape) - 1)
    return np.asarray((cells[:, 0] * shape[1] + cells[:, 1]) * shape[2] + cells[:, 2])


def _middle(cell: NDArray[np.int64], shape: Shape) -> Array:
    """Return the middle of each voxel, in voxels."""
    return np.asarray(np.column_stack(np.unravel_index(cell, shape)) + 0.5)


def _weights(mask: Mask, volume: Array, skin: _Skin) -> tuple[NDArray[np.uint8], NDArray[np.uint8], NDArray[np.uint8]]:
    """Return the face weights along x, y and z.

    A face along the surface is cut by it, one across it is not: between these the share of the surface that faces the
    axis decides. Heat flows between the middles of the two volumes.
    """
    found = []
    flat = mask.reshape(-1)
    for axis, step in enumerate((mask.shape[1] * mask.shape[2], mask.shape[2], 1)):
        here = np.flatnonzero(flat[:-step] & flat[step:])
        there = here + step
        surface = skin.area[here] + skin.area[there]
        facing = np.divide(
            skin.facing[axis, here] + skin.facing[axis, there], surface, out=np.ones(here.size), where=surface > 0.0
        )
        share = facing + (1.0 - facing) * 0.5 * (volume[here] + volume[there])
        apart = np.clip(1.0 + skin.shift[axis, there] - skin.shift[axis, here], *_APART)
        weight = np.zeros(flat.size, dtype=np.uint8)
        weight[here] = np.clip(np.rint(FULL_FACE * share / apart), 1, _HEAVIEST).astype(np.uint8)
        found.append(weight)
    return found[0], found[1], found[2]
