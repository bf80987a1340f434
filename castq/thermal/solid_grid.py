"""Casting and die as two sets of cells with true volumes, coupled by the true surface between them.

A voxel at least half filled is a cell of the casting, one less filled a cell of the die. What a voxel holds of the
other side is added to the nearest cell there, so no cell is small and no volume is lost. The surface is cut into
patches, and each couples the casting cell behind it with the die cell before it: the cooling surface is that of the
mesh, not that of the voxel faces, which overstate it by up to half.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from castq.thermal import solid_cuts as cuts
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
# Largest sum of face weights over volume of a cell; 6 among whole voxels.
_MOST = 6.5
# Skin that looks one way within a block of this edge leaves the die as one piece.
SKIN_BLOCK_MM = 10.0

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Places = NDArray[np.int64]
Owner = NDArray[np.int32]
Normals = NDArray[np.floating]
Weights = tuple[NDArray[np.uint8], NDArray[np.uint8], NDArray[np.uint8]]
Shape = tuple[int, int, int]


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """Cells of a body that exchange heat beside their neighbours, arrays (pairs,).

    Attributes
    ----------
    here, there : int array
        Flat places of the two cells.
    weight : array
        Face between them, in hundredths of a full face.
    """

    here: NDArray[np.int64]
    there: NDArray[np.int64]
    weight: Array


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
class Region:
    """Cells of one body in a padded box, stored flat.

    Attributes
    ----------
    shape : tuple of int
        Cells of the box along x, y and z; no active cell touches its sides.
    volume : array (cells of the box,)
        Volume of each cell, in voxels; 0 where the body is not.
    weights : tuple of three uint8 or float32 arrays (cells of the box,)
        Face from each cell to the next along x, y and z, in hundredths of a full face.
    pairs : Pairs, optional
        Further cells that exchange heat: those at the two planes of a turning sector.
    """

    shape: Shape
    volume: Array
    weights: tuple[NDArray[np.uint8], NDArray[np.uint8], NDArray[np.uint8]]
    pairs: Pairs | None = None

    @property
    def active(self) -> NDArray[np.int64]:
        """Flat places of the cells that the body fills."""
        return np.flatnonzero(self.volume)

    @property
    def strides(self) -> NDArray[np.uint64]:
        """Steps to the next cell along x and y in the flat box."""
        return np.array([self.shape[1] * self.shape[2], self.shape[2]], dtype=np.uint64)

    def stiffest(self) -> float:
        """Return the largest sum of face weights over volume of any cell, at least 1 [-]; 6 among whole voxels."""
        faces = np.zeros(self.volume.size)
        for weight, step in zip(self.weights, (*self.strides.astype(int), 1), strict=True):
            shares = weight / FULL_FACE
            faces += shares
            faces[step:] += shares[:-step]
        if self.pairs is not None:
            for side in (self.pairs.here, self.pairs.there):
                faces += np.bincount(side, self.pairs.weight / FULL_FACE, minlength=faces.size)
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
    casting_owner : int32 array (cells of the box,)
        Flat place of the casting cell that holds a voxel's metal; -1 where there is none.
    surface_share : float
        Share of the surface that is linked [-].
    die_shift : float32 array (3, cells of the box), optional
        How far the middle of each die cell lies beyond that of its voxel, in voxels.
    """

    casting: Region
    die: Region
    links: Links
    casting_owner: Owner
    surface_share: float
    die_shift: NDArray[np.float32] | None = None


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
    shape = fraction.shape
    masks = [mask.reshape(-1) for mask in (inside & (fraction >= 0.5), die & inside & (fraction < 0.5))]
    shares = [share.reshape(-1) for share in (np.where(inside, fraction, np.float32(0.0)),
              np.where(inside & (die | (fraction >= 0.5)), np.float32(1.0) - fraction, np.float32(0.0)))]  # fmt: skip
    patches = replace(patches, points_mm=(patches.points_mm / spacing_mm).astype(np.float32))
    behind, before = (np.empty(patches.area_mm2.size, dtype=np.int32) for _ in range(2))
    for ahead, place in ((-_BESIDE, behind), (_BESIDE, before)):
        cuts.find_places(patches.points_mm, patches.normals, ahead, shape, place)
    # A patch goes with the voxel that holds it, as volume does, so that both stay in proportion at a cut plane.
    solved = inside.reshape(-1)[behind]
    patches, touched = _some(patches, solved), (behind[solved], before[solved])
    area = patches.area_mm2 / spacing_mm**2
    owners = [
        _owners(shape, mask, share, place, (turn, patches.normals))
        for turn, mask, share, place in zip((-1.0, 1.0), masks, shares, touched, strict=True)
    ]
    volumes = [_gathered(owner, share) for owner, share in zip(owners, shares, strict=True)]
    del masks, shares
    sides = [owner[place] for owner, place in zip(owners, touched, strict=True)]
    held = (sides[0] >= 0) & (sides[1] >= 0)
    surface_share = float(area[held].sum() / max(area.sum(), 1e-30))
    patches, area, sides = _some(patches, held), area[held], [side[held] for side in sides]
    owner = owners[0]
    del owners
    skins = [
        _Skin.of(cell, area, turn, patches.normals, volume)
        for turn, cell, volume in zip((1.0, -1.0), sides, volumes, strict=True)
    ]
    links = _links(shape, sides, skins, area, patches, spacing_mm)
    bodies = [Region(shape, volume, _weights(shape, volume, skin)) for volume, skin in zip(volumes, skins, strict=True)]
    return Cells(bodies[0], bodies[1], links, owner, surface_share, skins[1].spread())


def _some(patches: Patches, kept: Mask) -> Patches:
    """Return some of the patches."""
    if kept.all():
        return patches
    return replace(patches, points_mm=patches.points_mm[kept], normals=patches.normals[kept],
                   area_mm2=patches.area_mm2[kept])  # fmt: skip


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
    none = np.empty(0)
    bare = _Skin.of(np.empty(0, dtype=np.int32), none, 1.0, none, volume)
    return Region(mask.shape, volume, _weights(mask.shape, volume, bare))


@dataclass(frozen=True, slots=True, eq=False)
class _Skin:
    """Surface of the cells of a body that have any.

    `slot`: number of each cell of the box among them, or -1; `sums`: see `solid_cuts`, areas in voxel faces;
    `shift`: how far the middle of the cell's volume lies beyond that of its voxel along x, y and z, in voxels.
    """

    slot: NDArray[np.int32]
    sums: Array
    shift: Array

    @classmethod
    def of(cls, cell: Owner, area: Array, turn: float, normals: Normals, volume: Normals) -> _Skin:
        """Return the surface of each cell from that of its patches; their normals, turned, point out of the body."""
        slot = np.full(volume.size, -1, dtype=np.int32)
        slot[cell] = 0
        touched = np.flatnonzero(slot == 0)
        slot[touched] = np.arange(touched.size)
        sums = np.zeros((touched.size, cuts.SUMS))
        if touched.size:
            cuts.sum_patches(slot, cell, area, turn, normals, sums)
        looks = sums[:, cuts.LOOKS :] / sums[:, cuts.AREA, None]
        return cls(slot, sums, 0.5 * (volume[touched, None] - 1.0) * looks)

    def spread(self) -> NDArray[np.float32]:
        """Return the shift of each cell of the box, array (3, cells)."""
        shift = np.zeros((3, self.slot.size), dtype=np.float32)
        touched = np.flatnonzero(self.slot >= 0)
        shift[:, touched] = self.shift.T
        return shift


def _owners(
    shape: Shape, mask: Mask, share: NDArray[np.float32], touched: Owner, looks: tuple[float, Normals]
) -> Owner:
    """Return the flat place of the cell nearest to each voxel with a share or a patch; -1 where none is near.

    Of cells about as near, the one behind the surface is taken, lest its neighbours crowd one way out.
    """
    turn, normals = looks
    wanted = share > 0.0
    wanted[touched] = True
    owner = np.where(mask, np.arange(mask.size, dtype=np.int32), np.int32(-1))
    places = np.flatnonzero(wanted & ~mask)
    row = np.full(mask.size, -1, dtype=np.int32)
    row[places] = np.arange(places.size)
    behind = np.zeros((places.size, 3))
    cuts.find_inward(row, touched, normals, turn, behind)
    cuts.find_owners(mask, shape, places, _REACH, _LIKING, behind, owner)
    return owner


def _gathered(owner: Owner, share: NDArray[np.float32]) -> Array:
    """Return the volume of each cell: its own share and those carried to it."""
    volume = np.zeros(owner.size)
    cuts.gather(owner, share, volume)
    return volume


def _links(
    shape: Shape, sides: list[Owner], skins: list[_Skin], area: Array, patches: Patches, spacing_mm: float
) -> Links:
    """Return one link for each pair of cells that share surface."""
    halves = np.empty((2, area.size))
    for turn, cell, skin, half in zip((1.0, -1.0), sides, skins, halves, strict=True):
        cuts.find_halves(shape, skin.slot, skin.shift, cell, patches.points_mm, patches.normals, turn, half)
    head = np.full(len(skins[0].shift), -1, dtype=np.int32)
    following, first = (np.empty(area.size, dtype=np.int32) for _ in range(2))
    sums = np.zeros((area.size, 3))
    count = cuts.join_patches(skins[0].slot, sides[0], sides[1], area, halves, head, following, first, sums)
    casting, die = (side[first[:count]].astype(np.int64) for side in sides)
    order = np.lexsort((die, casting))
    total, start = sums[order, 0], first[order]
    near, far = (np.clip(sums[order, column] / total, _SHORTEST, _LONGEST) for column in (1, 2))
    piece = _pieces_of_skin(patches.points_mm[start], patches.normals[start], spacing_mm)
    return Links(casting[order], die[order], total, near, far, np.unique(piece, return_inverse=True)[1])


def _pieces_of_skin(points: Normals, normals: Normals, spacing_mm: float) -> Places:
    """Return for each patch the number of the piece of skin it belongs to."""
    axis = np.abs(normals).argmax(axis=1)
    way = 2 * axis + (np.take_along_axis(normals, axis[:, None], axis=1)[:, 0] > 0.0)
    blocks = np.floor(points * spacing_mm / SKIN_BLOCK_MM).astype(np.int64)
    keys = np.column_stack([blocks - blocks.min(axis=0, initial=0), way])
    return np.ravel_multi_index(tuple(keys.T), tuple(keys.max(axis=0, initial=0) + 1))


def _weights(shape: Shape, volume: Normals, skin: _Skin) -> Weights:
    """Return the face weights along x, y and z.

    A face along the surface is cut by it, one across it is not: between these the share of the surface that faces the
    axis decides. Heat flows between the middles of the two volumes. A few cells whose faces would be so heavy that all
    of the body had to take shorter steps lose some of them; the film at the surface resists far more.
    """
    active, steps = np.flatnonzero(volume), (shape[1] * shape[2], shape[2], 1)
    x, y, z = (np.zeros(volume.size, dtype=np.uint8) for _ in range(3))
    for axis, (weight, step) in enumerate(zip((x, y, z), steps, strict=True)):
        cuts.weigh_faces(active, step, axis, FULL_FACE, (*_APART, _HEAVIEST), volume, skin.slot, skin.sums, skin.shift,
                         weight)  # fmt: skip
    factor = np.ones(volume.size, dtype=np.float32)
    while cuts.ease(active, steps, _MOST * FULL_FACE, volume, factor, (x, y, z)):
        pass
    return x, y, z
