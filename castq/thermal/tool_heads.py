"""Feeder heads of a gravity casting: cylinders of metal on the casting, in the die at their sides, open at the top."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from castq.core.errors import input_error
from castq.geometry.mesh import Mesh
from castq.geometry.voxels import Grid, rasterise
from castq.thermal.die_growth import Box, Sector
from castq.thermal.tool import FeederHead
from castq.thermal.tool_shapes import Frame, copies

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# A head reaches this far into the metal it stands on, in voxels.
_SUNK = 1.5
_SIDES = 48
# Least share of the foot that has to be metal.
_LEAST_FOOT = 0.2
_MARGIN = 3


@dataclass(frozen=True, slots=True, eq=False)
class Head:
    """A head and its copies around the axis.

    Attributes
    ----------
    name : str
        Name in the report.
    feet_mm : list of array (3,)
        Middle of the foot of each copy [mm].
    radius_mm, height_mm : float
        Radius; height, negative when it looks down [mm].
    """

    name: str
    feet_mm: list[Array]
    radius_mm: float
    height_mm: float

    def holds(self, points_mm: Array, from_mm: float, to_mm: float) -> Mask:
        """Return whether points lie in any of its copies between two heights above the foot, seen its way [mm].

        Parameters
        ----------
        points_mm : array (n, 3)
            Positions [mm].
        from_mm, to_mm : float
            Heights above the foot [mm].

        Returns
        -------
        bool array (n,)
            True inside.
        """
        side = np.sign(self.height_mm)
        found = np.zeros(len(points_mm), dtype=bool)
        for foot in self.feet_mm:
            off = points_mm - foot
            found |= (
                (np.hypot(off[:, 0], off[:, 1]) <= self.radius_mm)
                & (side * off[:, 2] >= from_mm)
                & (side * off[:, 2] <= to_mm)
            )
        return found


def set_heads(
    grid: Grid, surface: Mesh, heads: tuple[FeederHead, ...], repeats: Sector | None
) -> tuple[Grid, Mesh, NDArray[np.int64], list[Head]]:
    """Set feeder heads on a casting.

    Parameters
    ----------
    grid : Grid
        The casting.
    surface : Mesh
        The casting [mm].
    heads : tuple of FeederHead
        Heads.
    repeats : Sector or None
        Symmetry by which they are repeated.

    Returns
    -------
    tuple of Grid, Mesh, int array (3,), list of Head
        Casting with heads; voxels put before those of the grid; the heads.

    Raises
    ------
    InputError
        If a head does not stand on the casting.
    """
    if not heads:
        return grid, surface, np.zeros(3, dtype=np.int64), []
    set_on = [Head(head.name, [foot[0] for foot in copies([head.foot_mm], repeats)], 0.5 * head.diameter_mm,
                   head.height_mm) for head in heads]  # fmt: skip
    for head in set_on:
        _check_foot(grid, head)
    meshes = [surface]
    for head in set_on:
        meshes += [_cylinder(foot, head, _SUNK * grid.spacing_mm) for foot in head.feet_mm]
    low, high = (np.array([mesh.bounds[end] for mesh in meshes]) for end in (0, 1))
    top = grid.origin_mm + grid.spacing_mm * np.array(grid.shape)
    before, after = (
        np.maximum(np.ceil(past / grid.spacing_mm).astype(np.int64) + _MARGIN, 0)
        for past in (grid.origin_mm - low.min(axis=0), high.max(axis=0) - top)
    )
    fraction = np.pad(grid.fraction, list(zip(before, after, strict=True)))
    origin = grid.origin_mm - grid.spacing_mm * before
    whole = _joined(meshes)
    nx, ny, nz = fraction.shape
    np.maximum(fraction, np.clip(rasterise(whole, origin, grid.spacing_mm, (nx, ny, nz))[0], 0.0, 1.0), out=fraction)
    return replace(grid, fraction=fraction, origin_mm=origin), whole, before, set_on


def _check_foot(grid: Grid, head: Head) -> None:
    """Refuse a head that stands on no metal."""
    share = np.linspace(-1.0, 1.0, 9)
    disc = np.array([[x, y] for x in share for y in share if np.hypot(x, y) <= 1.0]) * head.radius_mm
    side = np.sign(head.height_mm)
    foot = head.feet_mm[0]
    points = np.column_stack([foot[:2] + disc, np.full(len(disc), foot[2] - side * 0.75 * _SUNK * grid.spacing_mm)])
    inside = np.all((points >= grid.origin_mm) & (points <= grid.origin_mm + grid.spacing_mm * np.array(grid.shape)),
                    axis=1)  # fmt: skip
    if np.mean(grid.solid[tuple(grid.index(points).T)] & inside) < _LEAST_FOOT:
        metal = np.argwhere(grid.solid)
        middles = grid.origin_mm + grid.spacing_mm * (metal + 0.5)
        away = float(np.linalg.norm(middles - foot, axis=1).min())
        raise input_error(
            "feeder", head.name, f"its foot does not stand on the casting; the nearest metal is {away:.0f} mm away",
            "a point on the surface of the casting, the head rising from it", "move its foot or turn its height",
        )  # fmt: skip


def _cylinder(foot: Array, head: Head, sunk_mm: float) -> Mesh:
    """Return a head as a closed mesh whose section has the area of its circle."""
    angle = 2.0 * np.pi * np.arange(_SIDES) / _SIDES
    radius = head.radius_mm * np.sqrt(2.0 * np.pi / (_SIDES * np.sin(2.0 * np.pi / _SIDES)))
    circle = foot[:2] + radius * np.column_stack([np.cos(angle), np.sin(angle)])
    side = np.sign(head.height_mm)
    low, high = sorted((foot[2] - side * sunk_mm, foot[2] + head.height_mm))
    rings = [np.column_stack([circle, np.full(_SIDES, z)]) for z in (low, high)]
    vertices = np.vstack([*rings, [[foot[0], foot[1], low], [foot[0], foot[1], high]]])
    here, there = np.arange(_SIDES), (np.arange(_SIDES) + 1) % _SIDES
    bottom, top = np.full(_SIDES, 2 * _SIDES), np.full(_SIDES, 2 * _SIDES + 1)
    faces = np.vstack([
        np.column_stack([here, there, there + _SIDES]), np.column_stack([here, there + _SIDES, here + _SIDES]),
        np.column_stack([there, here, bottom]), np.column_stack([here + _SIDES, there + _SIDES, top]),
    ])  # fmt: skip
    return Mesh(vertices, faces.astype(np.int64))


def _joined(meshes: list[Mesh]) -> Mesh:
    """Return several closed meshes as one; where they overlap they count once."""
    starts = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes[:-1])])
    faces = [
        (mesh.faces if mesh.volume_mm3 > 0.0 else mesh.faces[:, ::-1]) + start
        for mesh, start in zip(meshes, starts, strict=True)
    ]
    return Mesh(np.vstack([mesh.vertices for mesh in meshes]), np.vstack(faces))


def at_home(box: Box, grid: Grid) -> Box:
    """Return a box whose nearest voxels of the casting leave out the feeder heads.

    Parameters
    ----------
    box : Box
        Casting with heads, in the frame of the grid.
    grid : Grid
        The casting without.

    Returns
    -------
    Box
        The box.
    """
    _, nearest = distance_transform_edt(~own_metal(box, grid), return_indices=True)
    return replace(box, nearest=nearest)


def own_metal(box: Box, grid: Grid) -> Mask:
    """Return the voxels of a box that are cells of the casting itself, not of its heads.

    Parameters
    ----------
    box : Box
        Casting with heads, in the frame of the grid.
    grid : Grid
        The casting without.

    Returns
    -------
    bool array (nx, ny, nz)
        True in the casting.
    """
    own = np.zeros(box.fraction.shape, dtype=bool)
    low, high = np.maximum(box.first, 0), np.minimum(box.first + own.shape, grid.shape)
    there = tuple(slice(int(a), int(b)) for a, b in zip(low, high, strict=True))
    here = tuple(slice(int(a - f), int(b - f)) for a, b, f in zip(low, high, box.first, strict=True))
    own[here] = grid.solid[there]
    return own & (box.fraction >= 0.5)


@dataclass(frozen=True, slots=True, eq=False)
class Feeding:
    """What a head feeds.

    Attributes
    ----------
    name : str
        Name in the report.
    cells : int array
        Flat places of its own casting cells.
    foot : int array
        Flat places of the cells of the casting that it stands on.
    fed : int array
        Flat places of the cells of the casting nearer to it than to any other head.
    """

    name: str
    cells: NDArray[np.int64]
    foot: NDArray[np.int64]
    fed: NDArray[np.int64]


def feeding_of(heads: list[Head], active: NDArray[np.int64], box: Box, grid: Grid, frame: Frame) -> tuple[Feeding, ...]:
    """Return what each head feeds.

    Parameters
    ----------
    heads : list of Head
        Feeder heads.
    active : int array
        Flat places of the casting's cells, heads included.
    box : Box
        Casting with heads, in the frame of the grid.
    grid : Grid
        The casting without.
    frame : Frame
        Voxels.

    Returns
    -------
    tuple of Feeding
        One for each head.
    """
    if not heads:
        return ()
    middles, casting = frame.middles_mm(active), own_metal(box, grid).reshape(-1)[active]
    away = np.array([np.min([np.linalg.norm(middles - foot, axis=1) for foot in head.feet_mm], axis=0)
                     for head in heads])  # fmt: skip
    reach = 2.0 * frame.spacing_mm
    return tuple(
        Feeding(head.name, active[~casting & head.holds(middles, -reach, np.inf)],
                active[casting & head.holds(middles, -reach, reach)], active[casting & (away.argmin(axis=0) == number)])
        for number, head in enumerate(heads)
    )  # fmt: skip
