"""A die of several materials, drawn or grown, written as a like die of one: the solver then needs only that one."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, gaussian_filter

from castq.core.errors import input_error
from castq.geometry.mesh import Mesh
from castq.materials.types import DieMaterial
from castq.thermal.die_growth import Box, Sector
from castq.thermal.solid_grid import Cells
from castq.thermal.solid_grid import Region as Cellular
from castq.thermal.tool import Body
from castq.thermal.tool_shapes import Frame, filled

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Kinds = NDArray[np.int8]

# A drawn die may reach this far into the casting, in voxels, as its own facets and voxels allow.
_SKIN = 1.0
# What two solids seem to share of a voxel by the lines through it, though they only touch.
_TRACE = 0.25
_LEAST_HALF = 0.05


def drawn_die(box: Box, frame: Frame, parts: tuple[Body, ...], repeats: Sector | None) -> tuple[Mask, Kinds]:
    """Return the voxels of a drawn die, beyond the part solved too, and for each the number of the part it belongs to.

    Parameters
    ----------
    box : Box
        Casting, and room for the die.
    frame : Frame
        Its voxels.
    parts : tuple of Body
        Parts of the die.
    repeats : Sector or None
        Symmetry by which they are repeated.

    Returns
    -------
    tuple of bool array, int8 array (nx, ny, nz)
        The die, and numbers from 0.

    Raises
    ------
    InputError
        If a part overlaps the casting, or none touches it.
    """
    deep = distance_transform_edt(box.fraction >= 0.5) > _SKIN
    total, most, kind = (np.zeros(frame.shape, dtype=d) for d in (np.float32, np.float32, np.int8))
    for number, part in enumerate(parts):
        share = filled(part.shape, frame, repeats, ("die", part.name))
        _check_overlap(part, share, box, deep, frame.spacing_mm)
        kind[share > most] = number
        np.maximum(most, share, out=most)
        total += share
    # A voxel cut by the casting is die when the die has most of the rest.
    die = (box.fraction < 0.5) & (total > 0.5 * (1.0 - box.fraction))
    if not (die & box.inside & (box.depth < 2.0)).any():
        raise input_error("die", ", ".join(part.name for part in parts), "no part of it touches the casting",
                          "meshes of the die in the place and unit of the wheel", "move or scale them")  # fmt: skip
    return die, kind


def _check_overlap(part: Body, share: NDArray[np.float32], box: Box, deep: Mask, spacing_mm: float) -> None:
    """Refuse a part of the die that reaches into the casting by more than its skin."""
    both = share + box.fraction - 1.0
    both[both < _TRACE] = 0.0
    if float(both[deep].sum()) > 0.5:
        raise input_error(
            "die", part.name, f"it overlaps the casting by {float(both.sum()) * 1e-3 * spacing_mm**3:.2f} cm3",
            "a die around the casting, not in it", "cut the casting out of the die, or move it",
        )  # fmt: skip


def place_bodies(
    box: Box, die: Mask, kind: Kinds, frame: Frame, bodies: tuple[Body, ...], repeats: Sector | None
) -> Kinds:
    """Return the number of the part in each voxel of the die, bodies counted on from those already there.

    Parameters
    ----------
    box : Box
        Casting and die.
    die : bool array (nx, ny, nz)
        Voxels of the die.
    kind : int8 array (nx, ny, nz)
        Number of the part in each.
    frame : Frame
        Voxels of the box.
    bodies : tuple of Body
        Cores, inserts and chills.
    repeats : Sector or None
        Symmetry by which they are repeated.

    Returns
    -------
    int8 array (nx, ny, nz)
        Numbers.

    Raises
    ------
    InputError
        If a body meets no die.
    """
    found, first = kind.copy(), int(kind.max(initial=0)) + 1
    for number, body in enumerate(bodies):
        # A voxel cut by the casting belongs to the body that fills most of the rest of it.
        share = filled(body.shape, frame, repeats, ("body", body.name))
        taken = die & (share > 0.5 * (1.0 - box.fraction))
        if not taken.any():
            raise input_error("body", body.name, "it meets no die", "a body in the die, beside the casting",
                              "move it, make the die wall thicker or take smaller voxels")  # fmt: skip
        found[taken] = first + number
    return found


def like_one(cells: Cells, kind: Kinds, materials: list[DieMaterial]) -> tuple[Cells, Array | None]:
    """Return the cells with the die written as one of the first material.

    A cell of another heat capacity has another volume, and a face between two conductivities the weight of the two
    half cells in series.

    Parameters
    ----------
    cells : Cells
        Casting and die.
    kind : int8 array (nx, ny, nz)
        Number of the material in each voxel.
    materials : list of DieMaterial
        Materials by number.

    Returns
    -------
    tuple of Cells, array (cells of the box,) or None
        Cells; conductivity of each over that of the first material [-], none when all are alike.
    """
    number = kind.reshape(-1)
    k = np.array([material.k_w_mk for material in materials])
    heat = np.array([material.density_kg_m3 * material.cp_j_kgk for material in materials])
    if np.ptp(k) == 0.0 and np.ptp(heat) == 0.0:
        return replace(cells, die_shift=None), None
    conductivity = (k / k[0])[number]
    die = cells.die
    weights = [_in_series(die, cells.die_shift, axis, conductivity) for axis in range(3)]
    pairs = die.pairs
    if pairs is not None:
        a, b = conductivity[pairs.here], conductivity[pairs.there]
        pairs = replace(pairs, weight=pairs.weight * 2.0 * a * b / (a + b))
    changed: dict[str, Any] = {"volume": die.volume * (heat / heat[0])[number], "weights": tuple(weights)}
    links = replace(cells.links, die_half=cells.links.die_half / conductivity[cells.links.die])
    return replace(cells, die=replace(die, pairs=pairs, **changed), links=links, die_shift=None), conductivity


def _in_series(die: Cellular, shift: NDArray[np.float32] | None, axis: int, conductivity: Array) -> NDArray[np.float32]:
    """Return the face weights along an axis, each with both of its half cells in their own material."""
    weight = die.weights[axis]
    step = int((*die.strides, 1)[axis])
    here = np.flatnonzero(weight)
    there = here + step
    ways = np.full((2, here.size), 0.5)
    if shift is not None:
        ways[0] -= shift[axis, here]
        ways[1] += shift[axis, there]
    ways = np.maximum(ways, _LEAST_HALF)
    factor = ways.sum(axis=0) / (ways[0] / conductivity[here] + ways[1] / conductivity[there])
    found = np.zeros(weight.size, dtype=np.float32)
    found[here] = weight[here] * factor
    return found


def open_faces(die: Mask, taken: Mask, inside: Mask) -> tuple[NDArray[np.int64], Array]:
    """Return the cells of a drawn die with a face to the air, and its area without the steps of the voxels.

    Parameters
    ----------
    die : bool array (nx, ny, nz)
        Voxels of the die, channels included.
    taken : bool array (nx, ny, nz)
        Voxels of the casting.
    inside : bool array (nx, ny, nz)
        Voxels that are solved.

    Returns
    -------
    tuple of int array, array
        Flat places of the cells; area, in voxel faces.
    """
    smooth = gaussian_filter((die | taken).astype(np.float32), 1.5)
    slope = np.array(np.gradient(smooth))
    slope = np.abs(slope) / np.maximum(np.linalg.norm(slope, axis=0), 1e-6)
    area = np.zeros(die.shape)
    for axis in range(3):
        for side in (1, -1):
            beyond = ~np.roll(die | taken, -side, axis) & np.roll(inside, -side, axis)
            area += np.where(die & beyond, slope[axis], 0.0)
    place = np.flatnonzero(area)
    return place, area.reshape(-1)[place]


def room_of(parts: tuple[Body, ...]) -> tuple[Array, Array] | None:
    """Return the lowest and highest corner of a drawn die [mm]; none when nothing is drawn.

    Parameters
    ----------
    parts : tuple of Body
        Parts of the die.

    Returns
    -------
    tuple of array (3,) or None
        Corners [mm].
    """
    corners = [_corners(part) for part in parts]
    if not corners:
        return None
    return np.min([low for low, _ in corners], axis=0), np.max([high for _, high in corners], axis=0)


def _corners(part: Body) -> tuple[Array, Array]:
    """Return the lowest and highest corner of a part [mm]."""
    if isinstance(part.shape, Mesh):
        return part.shape.bounds
    radius, (low, high) = part.shape.radius_mm[1], part.shape.height_mm
    return np.array([-radius, -radius, low]), np.array([radius, radius, high])
