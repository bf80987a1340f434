"""The zones of a wheel, found from its shape alone.

Windows between the spokes tell hub from rim; the rim's outline tells the flanges; holes through the hub tell the
bolts. The wheel axis is z through x = y = 0.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from castq.core.errors import input_error, nearest
from castq.geometry.axis import filled_share
from castq.geometry.landmarks import (
    Bolts,
    Cells,
    Rim,
    SpokeEnds,
    find_bolts,
    find_hub_radius_mm,
    find_rim,
    find_spoke_ends,
    metal_cells,
)
from castq.geometry.roles import BOLT_SEAT_MARGIN_MM, CODE, ROLES
from castq.geometry.voxels import Grid

Codes = NDArray[np.int8]
# Metal over the cylinder around it: no wheel comes near this (4 to 40 %), a cube has 1.3 and a ball 0.67. Practice.
BLOCK_SHARE = 0.6


@dataclass(frozen=True, slots=True, eq=False)
class ZoneMap:
    """The zone of each voxel, and the landmarks it was told by.

    Attributes
    ----------
    codes : int8 array (nx, ny, nz)
        0 where there is no metal, else the number of the role as in `castq.geometry.roles.CODE` [-].
    outboard : int
        +1 when the face side looks to +z, -1 when it looks to -z [-].
    hub_radius_mm, counterbore_radius_mm : float
        Hub, and widest bore round a bolt [mm].
    rim : Rim
        Outlines of the rim [mm].
    spokes : SpokeEnds
        Spokes where they meet hub and rim [mm].
    bolt_axes_mm : array (n, 2)
        x and y of the bolts [mm].
    warnings : tuple of str
        What the shape left in doubt.
    """

    codes: Codes
    outboard: int
    hub_radius_mm: float
    counterbore_radius_mm: float
    rim: Rim
    spokes: SpokeEnds
    bolt_axes_mm: NDArray[np.float64]
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ZoneBox:
    """A zone given by hand: all metal between two radii and two heights belongs to `role` [mm]."""

    role: str
    radius_mm: tuple[float, float]
    height_mm: tuple[float, float]


def find_zones(grid: Grid, *, outboard: int | None = None, source: str = "shape") -> ZoneMap:
    """Return the zones of an ordinary wheel.

    Parameters
    ----------
    grid : Grid
        The wheel, its axis along z through x = y = 0, either side up [mm].
    outboard : {1, -1}, optional
        Which way along z the face side looks; found from the shape when not given [-].
    source : str
        File name, for error messages.

    Returns
    -------
    ZoneMap
        Zone of each voxel with metal [-].

    Raises
    ------
    InputError
        If there is no rim round the z axis, or no windows between hub and rim.
    """
    cells = metal_cells(grid)
    rim, warnings = find_rim(grid, cells, source)
    hub_radius = find_hub_radius_mm(grid, cells, rim, source)
    _check_fill(grid, source)
    ends = find_spoke_ends(grid, cells, rim, hub_radius)
    bolts = find_bolts(grid, cells, hub_radius)
    low, high = cells.height_mm.min(), cells.height_mm.max()
    above = ends.middle_height_mm - 0.5 * (low + high)
    if outboard is None and abs(above) < 0.04 * (high - low):
        warnings += ("the spokes meet the rim near its middle, so the outboard side is a guess",)
    if len(bolts.axes_mm) == 0:
        warnings += ("no bolt holes were found in the hub",)
    side = outboard or (1 if above >= 0.0 else -1)
    code = _cell_codes(grid, cells, rim, hub_radius, ends, outboard=side)
    _mark_bolt_seats(grid, cells, bolts, code)
    codes = np.zeros(grid.shape, dtype=np.int8)
    codes[tuple(cells.place.T)] = code
    return ZoneMap(codes, side, hub_radius, bolts.seat_radius_mm, rim, ends, bolts.axes_mm, warnings)


def _check_fill(grid: Grid, source: str) -> None:
    """Refuse a block: a wheel leaves most of the room that its outline takes to windows and the barrel."""
    if filled_share(grid) > BLOCK_SHARE:
        raise input_error(
            source,
            "",
            f"metal fills {100 * filled_share(grid):.0f} % of the room it takes, which is a block and no wheel",
            "a wheel, 4 to 40 %",
            "check that it is the right file and the wheel as cast, without risers or a box around it",
        )


def _cell_codes(grid: Grid, cells: Cells, rim: Rim, hub_radius: float, ends: SpokeEnds, *, outboard: int) -> Codes:
    """Return the role number of each cell, bolt seats still within the hub."""
    radius, height = cells.radius_mm, cells.height_mm
    inner = rim.inner_mm[cells.place[:, 2]]
    code = np.full(len(radius), CODE["spoke"], dtype=np.int8)
    code[radius < hub_radius + ends.at_hub_mm] = CODE["spoke-hub junction"]
    code[radius > inner - ends.at_rim_mm] = CODE["spoke-rim junction"]
    code[radius <= hub_radius] = CODE["hub"]
    skin = np.flatnonzero(radius > inner - 1.2 * grid.spacing_mm)
    behind = np.zeros(len(radius), dtype=bool)
    behind[skin] = _spoke_stands_inside(grid, cells.place[skin], inner[skin] / radius[skin])
    in_ring = (radius >= inner) | ((radius > inner - 1.2 * grid.spacing_mm) & ~behind)
    behind &= in_ring
    code[in_ring & ~behind] = CODE["rim well"]
    names = ("inboard flange", "outboard flange")[::outboard]
    low = in_ring & (height < rim.low_foot_mm) & (~behind | (radius > rim.low_foot_radius_mm))
    high = in_ring & (height > rim.high_foot_mm) & (~behind | (radius > rim.high_foot_radius_mm))
    code[low], code[high] = CODE[names[0]], CODE[names[1]]
    return code


def _spoke_stands_inside(grid: Grid, place: NDArray[np.int64], to_inner: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return whether there is metal just inside the rim, at the same angle and height as each cell."""
    x, y, _ = grid.centres_mm
    step = 1.5 * grid.spacing_mm
    cx, cy = x[place[:, 0]], y[place[:, 1]]
    shrink = to_inner - step / np.hypot(cx, cy)
    points = np.column_stack([cx * shrink, cy * shrink, np.zeros(len(cx))])
    i, j, _ = grid.index(points).T
    return np.asarray(grid.fraction[i, j, place[:, 2]] >= 0.5)


def _mark_bolt_seats(grid: Grid, cells: Cells, bolts: Bolts, code: Codes) -> None:
    """Give the hub's metal round each bolt to the bolt seats."""
    x, y, _ = grid.centres_mm
    hub = np.flatnonzero(code == CODE["hub"])
    cx, cy = x[cells.place[hub, 0]], y[cells.place[hub, 1]]
    reach = bolts.seat_radius_mm + BOLT_SEAT_MARGIN_MM
    for bolt_x, bolt_y in bolts.axes_mm:
        code[hub[np.hypot(cx - bolt_x, cy - bolt_y) < reach]] = CODE["bolt seat"]


def apply_overrides(zone_map: ZoneMap, grid: Grid, overrides: Iterable[ZoneBox]) -> ZoneMap:
    """Return the zones with some given by hand.

    Parameters
    ----------
    zone_map : ZoneMap
        Zones as found [-].
    grid : Grid
        The wheel [mm].
    overrides : iterable of ZoneBox
        Zones given by hand; later ones win [mm].

    Returns
    -------
    ZoneMap
        The zones with the boxes applied [-].

    Raises
    ------
    InputError
        If a role is not known, a range runs backwards, or a box holds no metal.
    """
    x, y, z = grid.centres_mm
    radius = np.hypot(x[:, None], y[None, :])
    codes = zone_map.codes.copy()
    for box in overrides:
        if box.role not in CODE:
            raise input_error("zones given by hand", "role", box.role, "a zone of a wheel", nearest(box.role, ROLES))
        across = (radius >= box.radius_mm[0]) & (radius <= box.radius_mm[1])
        up = (z >= box.height_mm[0]) & (z <= box.height_mm[1])
        inside = across[:, :, None] & up & (codes > 0)
        if not inside.any():
            (r0, r1), (z0, z1) = box.radius_mm, box.height_mm
            raise input_error(
                "zones given by hand", box.role, f"no metal at radius {r0:g} to {r1:g} and height {z0:g} to {z1:g} mm",
                "lower end first, around metal", "mend the range",
            )  # fmt: skip
        codes[inside] = CODE[box.role]
    return replace(zone_map, codes=codes)
