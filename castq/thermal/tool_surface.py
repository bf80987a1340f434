"""Surface of the casting that touches no die: the gate gives no heat, bare metal gives it to the air."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from castq.core.errors import input_error
from castq.thermal.die_growth import Box
from castq.thermal.solid_grid import Cells
from castq.thermal.solid_patches import Patches
from castq.thermal.solid_problem import Bath
from castq.thermal.tool import Gate
from castq.thermal.tool_shapes import Frame

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Still air and radiation of bright aluminium near its freezing: common practice, 10 to 50 [W/m2K].
BARE_W_M2K = 30.0
BARE = "air on bare metal"
# How far behind a patch its cell is looked for, and how far before it the die, in voxels.
_BEHIND = 0.02
_BEFORE = (0.3, 0.8, 1.3)
# Least cosine between the normal of a patch and the way the gate looks.
_FACING = 0.5
# A gate's patches lie within this many voxels of the outermost metal of their column.
_OUTERMOST = 1.5


@dataclass(frozen=True, slots=True, eq=False)
class Skin:
    """Patches of the surface and the casting cells behind them.

    Attributes
    ----------
    patches : Patches
        Those in the part that is solved [mm].
    cell : int array (n,)
        Flat place of the casting cell that holds each; -1 where there is none.
    """

    patches: Patches
    cell: NDArray[np.int64]

    @classmethod
    def of(cls, patches: Patches, cells: Cells, box: Box, frame: Frame) -> Skin:
        """Return the patches in the part that is solved, each with its cell."""
        behind, within = frame.cells(patches.points_mm - _BEHIND * frame.spacing_mm * patches.normals)
        solved = within & box.inside.reshape(-1)[behind]
        kept = Patches(patches.points_mm[solved], patches.normals[solved], patches.area_mm2[solved])
        return cls(kept, cells.casting_owner[behind[solved]].astype(np.int64))

    def summed(self, taken: Mask, count: int) -> Array:
        """Return the area [mm2] of some of the patches on each cell of a box."""
        taken = taken & (self.cell >= 0)
        area = self.patches.area_mm2[taken]
        return np.asarray(np.bincount(self.cell[taken], area, minlength=count), dtype=float)


def gate_patches(skin: Skin, gate: Gate, box: Box, frame: Frame, face_side: int) -> Mask:
    """Return which patches stand on the gate: the outermost metal of the disc, seen the way it looks.

    Parameters
    ----------
    skin : Skin
        Surface.
    gate : Gate
        The gate.
    box : Box
        Casting and die.
    frame : Frame
        Its voxels.
    face_side : {1, -1}
        Way along z to the face of the wheel.

    Returns
    -------
    bool array (n,)
        True on the gate.

    Raises
    ------
    InputError
        If there is no metal there.
    """
    side = gate.side or face_side
    points, normals = skin.patches.points_mm, skin.patches.normals
    metal = box.fraction >= 0.5
    height = np.arange(frame.shape[2])
    last = (
        np.where(metal, height, -1).max(axis=2) if side > 0 else np.where(metal, -height, -frame.shape[2]).max(axis=2)
    )
    index = (points - frame.origin_mm) / frame.spacing_mm
    column = tuple(np.clip(index[:, :2].astype(np.int64), 0, np.array(frame.shape[:2]) - 1).T)
    outermost = side * (index[:, 2] - 0.5) >= last[column] - _OUTERMOST
    found = (np.hypot(points[:, 0], points[:, 1]) <= gate.radius_mm) & (normals[:, 2] * side > _FACING) & outermost
    if not (found & (skin.cell >= 0)).any():
        raise input_error("gate", "", f"no metal faces it within {gate.radius_mm:g} mm of the axis",
                          "a gate on the hub", "give a larger radius, or the other side")  # fmt: skip
    return found


def bare_patches(skin: Skin, die: Mask, metal: Mask, frame: Frame) -> Mask:
    """Return which patches have no die before them.

    Parameters
    ----------
    skin : Skin
        Surface.
    die : bool array (nx, ny, nz)
        The die, channels included.
    metal : bool array (nx, ny, nz)
        Cells of the casting; metal at the far end of the way is the other side of a corner.
    frame : Frame
        Voxels.

    Returns
    -------
    bool array (n,)
        True where bare.
    """
    touched = np.zeros(skin.cell.size, dtype=bool)
    for way in _BEFORE:
        place, within = frame.cells(skin.patches.points_mm + way * frame.spacing_mm * skin.patches.normals)
        touched |= within & die.reshape(-1)[place]
    return ~(touched | metal.reshape(-1)[place])


def part_from_die(
    cells: Cells, skin: Skin, closed: Mask, bare: Mask, frame: Frame, air_temp_c: float
) -> tuple[Cells, tuple[Bath, ...]]:
    """Take surface from the die: part of it gives no heat, part gives it to the air.

    Parameters
    ----------
    cells : Cells
        Casting and die, all surface linked that can be.
    skin : Skin
        Surface.
    closed : bool array (n,)
        Patches that give no heat.
    bare : bool array (n,)
        Patches that give heat to the air.
    frame : Frame
        Voxels.
    air_temp_c : float
        Surroundings [degC].

    Returns
    -------
    tuple of Cells, tuple of Bath
        Links of the area left to the die; the air on the rest, if any.
    """
    count, face = cells.casting.volume.size, frame.spacing_mm**2
    everything = np.ones(skin.cell.size, dtype=bool)
    whole, shut, open_ = (skin.summed(taken, count) / face for taken in (everything, closed, bare & ~closed))
    links = cells.links
    linked = np.bincount(links.casting, links.area, minlength=count)
    left = np.clip(whole - shut - open_, 0.0, linked)
    share = np.divide(left, linked, out=np.ones(count), where=linked > 0.0)[links.casting]
    kept = share > 1e-6
    links = replace(links, **{name: getattr(links, name)[kept] for name in ("casting", "die", "casting_half",
                    "die_half", "piece")}, area=(links.area * share)[kept])  # fmt: skip
    links = replace(links, piece=np.unique(links.piece, return_inverse=True)[1])
    lost = np.maximum(whole - shut - left, 0.0)
    place = np.flatnonzero(lost > 1e-6)
    held = float(skin.patches.area_mm2[skin.cell >= 0].sum() / max(skin.patches.area_mm2.sum(), 1e-30))
    baths = (Bath(BARE, place, lost[place], np.full(place.size, 0.5), BARE_W_M2K, air_temp_c, body="casting"),)
    return replace(cells, links=links, surface_share=held), baths if place.size else ()
