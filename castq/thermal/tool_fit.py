"""The parts of a tool set into the box that is solved: which die is left, of what, and what takes heat from it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from castq.materials.types import DieMaterial
from castq.thermal.die_growth import Box, Sector, outer_faces
from castq.thermal.solid_grid import Cells
from castq.thermal.solid_patches import Patches
from castq.thermal.solid_problem import OUTER, Bath
from castq.thermal.tool import Body, ToolParts
from castq.thermal.tool_channels import cool
from castq.thermal.tool_heads import Head
from castq.thermal.tool_materials import drawn_die, like_one, open_faces, place_bodies
from castq.thermal.tool_shapes import Frame
from castq.thermal.tool_surface import Skin, bare_patches, gate_patches, part_from_die

Array = NDArray[np.float64]
Places = NDArray[np.int64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """A box with its tool.

    Attributes
    ----------
    box : Box
        Casting, and what is left of the die.
    closed_die : bool array (nx, ny, nz)
        The die with its channels filled; a drawn one also beyond the part solved.
    kind : int8 array (nx, ny, nz)
        Number of the material in each voxel.
    bodies : tuple of Body or None
        What stands behind each number; none for the grown die.
    baths : tuple of Bath
        Surroundings of the outer faces, and cooling circuits.
    notes : tuple of str
        What deserves a look, in words.
    """

    box: Box
    closed_die: Mask
    kind: NDArray[np.int8]
    bodies: tuple[Body | None, ...]
    baths: tuple[Bath, ...]
    notes: tuple[str, ...]

    def fresh(self, bodies: tuple[Body, ...], place: Places) -> Mask:
        """Return whether cells belong to one of some bodies that has a start temperature of its own."""
        set_in = [number for number, body in enumerate(self.bodies)
                  if body is not None and body in bodies and body.start_temp_c is not None]  # fmt: skip
        return np.asarray(np.isin(self.kind.reshape(-1)[place], set_in))


@dataclass(frozen=True, slots=True, eq=False)
class OnGate:
    """What stands on the gate: flat places of casting cells, and their surface there in the part solved [mm2]."""

    cells: Places
    area_mm2: float


def fit_tool(
    box: Box,
    frame: Frame,
    parts: ToolParts,
    heads: list[Head],
    sectors: tuple[Sector | None, Sector | None],
    outside: tuple[float, float],
) -> Fitted:
    """Set the parts of a tool into a box.

    Parameters
    ----------
    box : Box
        Casting and grown die; with a drawn die, room for it.
    frame : Frame
        Its voxels.
    parts : ToolParts
        What the die has beside its walls.
    heads : list of Head
        Feeder heads, part of the casting already.
    sectors : tuple of Sector or None
        Part that is solved, and symmetry by which parts are repeated.
    outside : tuple of float
        Coefficient [W/m2K] and temperature [degC] of the surroundings.

    Returns
    -------
    Fitted
        The die that is left, its materials and its cooling.

    Raises
    ------
    InputError
        If a part does not fit.
    """
    sector, repeats = sectors
    die, kind = box.die, np.zeros(frame.shape, dtype=np.int8)
    if parts.die:
        die, kind = drawn_die(box, frame, parts.die, repeats)
    if heads:
        die = die & ~_above(heads, die, frame)
    whole, die = die, die & box.inside
    if parts.bodies:
        kind = place_bodies(box, die, kind, frame, parts.bodies, repeats)
    closed = replace(box, die=die)
    place, area = open_faces(die, box.fraction >= 0.5, box.inside) if parts.die else outer_faces(closed)
    cooled = cool(closed, frame, parts.circuits, sector, repeats)
    kept = cooled.die.reshape(-1)[place]
    air = Bath(OUTER, place[kept], area[kept], np.full(np.count_nonzero(kept), 0.5), *outside)
    return Fitted(replace(box, die=cooled.die), whole, kind, (*(parts.die or (None,)), *parts.bodies),
                  (air, *cooled.baths), cooled.notes)  # fmt: skip


def _above(heads: list[Head], die: Mask, frame: Frame) -> Mask:
    """Return the voxels of the die above the open tops of heads."""
    place = np.flatnonzero(die)
    middles = frame.middles_mm(place)
    found = np.zeros(die.size, dtype=bool)
    for head in heads:
        found[place] |= head.holds(middles, abs(head.height_mm), np.inf)
    return found.reshape(die.shape)


def of_one_material(fitted: Fitted, cells: Cells, die: DieMaterial) -> tuple[Cells, tuple[Bath, ...], DieMaterial]:
    """Return cells and baths written for a die of one material.

    Parameters
    ----------
    fitted : Fitted
        The tool.
    cells : Cells
        Casting and die.
    die : DieMaterial
        Material of the grown die.

    Returns
    -------
    tuple of Cells, tuple of Bath, DieMaterial
        Cells and baths in terms of the material.
    """
    materials = [die if body is None else body.material for body in fitted.bodies]
    cells, conductivity = like_one(cells, fitted.kind, materials)
    baths = fitted.baths
    if conductivity is not None:
        baths = tuple(replace(bath, half=bath.half / conductivity[bath.place]) for bath in baths)
    return cells, baths, materials[0]


def part_surface(
    fitted: Fitted,
    cells: Cells,
    patches: Patches,
    frame: Frame,
    parts: ToolParts,
    heads: list[Head],
    sides: tuple[int, float],
) -> tuple[Cells, tuple[Bath, ...], OnGate]:
    """Take from the die the surface that stands on the gate or touches no die.

    Parameters
    ----------
    fitted : Fitted
        The tool.
    cells : Cells
        Casting and die.
    patches : Patches
        Surface of the casting [mm].
    frame : Frame
        Voxels.
    parts : ToolParts
        What the die has beside its walls.
    heads : list of Head
        Feeder heads.
    sides : tuple of int, float
        Way along z to the face of the wheel [-], surroundings of bare metal [degC].

    Returns
    -------
    tuple of Cells, tuple of Bath, OnGate
        Links that are left, air on bare metal, what stands on the gate.
    """
    if parts.gate is None and not parts.die and not heads:
        return cells, (), OnGate(np.empty(0, dtype=np.int64), 0.0)
    skin = Skin.of(patches, cells, fitted.box, frame)
    nothing = np.zeros(skin.cell.size, dtype=bool)
    closed = nothing if parts.gate is None else gate_patches(skin, parts.gate, fitted.box, frame, sides[0])
    bare = bare_patches(skin, fitted.closed_die, fitted.box.fraction >= 0.5, frame) if parts.die else nothing.copy()
    for head in heads:
        top = abs(head.height_mm)
        points, reach = skin.patches.points_mm.astype(float), 0.3 * frame.spacing_mm
        near = head.holds(points, top - reach, top + reach)
        bare |= near & (np.abs(skin.patches.normals[:, 2]) > 0.9)
    cells, baths = part_from_die(cells, skin, closed, bare, frame, sides[1])
    closed &= skin.cell >= 0
    return cells, baths, OnGate(np.unique(skin.cell[closed]), float(skin.patches.area_mm2[closed].sum()))


def start_and_films(
    fitted: Fitted, die_temp_c: Array, films_w_m2k: tuple[Array, Array], touching: Places
) -> tuple[Array, tuple[Array, Array]]:
    """Return start temperature of the die and interface coefficients, bodies with their own put in.

    Parameters
    ----------
    fitted : Fitted
        The tool.
    die_temp_c : array (cells of the box,)
        Die at the start [degC].
    films_w_m2k : tuple of array (links,)
        Interface coefficient before and after the skin leaves [W/m2K].
    touching : int array (links,)
        Die cell of each link.

    Returns
    -------
    tuple of array, tuple of array
        The same with the bodies' values.
    """
    start, contact, gap = die_temp_c.copy(), films_w_m2k[0].copy(), films_w_m2k[1].copy()
    kind = fitted.kind.reshape(-1)
    for number, body in enumerate(fitted.bodies):
        if body is None:
            continue
        linked = kind[touching] == number
        if body.start_temp_c is not None:
            start[kind == number] = body.start_temp_c
        if body.contact_w_m2k is not None:
            contact[linked] = body.contact_w_m2k
        if body.gap_w_m2k is not None:
            gap[linked] = body.gap_w_m2k
    return start, (contact, gap)
