"""Cooling circuits: their channels are taken out of the die, and their walls become baths of the true area."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt
from scipy.spatial import cKDTree

from castq.core.errors import InputError, input_error
from castq.thermal.die_growth import Box, Sector
from castq.thermal.solid_problem import Bath
from castq.thermal.tool import Circuit, Plug, Region, Ring, Tube
from castq.thermal.tool_shapes import Frame, copies, distance_to_segment, filled, share_of

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Length of a plug's bore that is wetted, in bores.
WETTED_BORES = 2.0
# Bounds of the way from the middle of a cell to the wall of a channel, in voxels.
_HALF = (0.05, 2.0)
# Points along a channel to a voxel.
_POINTS = 4.0
# Rings with less of their length than this in the die are named.
_LEAST_IN_DIE = 0.98

Line = tuple[Array, Array]


@dataclass(frozen=True, slots=True, eq=False)
class Cooled:
    """A die with its channels.

    Attributes
    ----------
    die : bool array (nx, ny, nz)
        Voxels of the die that are left.
    baths : tuple of Bath
        One for each circuit.
    notes : tuple of str
        Rings that leave the die, in words.
    """

    die: Mask
    baths: tuple[Bath, ...]
    notes: tuple[str, ...]


def cool(
    box: Box, frame: Frame, circuits: tuple[Circuit, ...], sector: Sector | None, repeats: Sector | None
) -> Cooled:
    """Take the channels of cooling circuits out of a die.

    Parameters
    ----------
    box : Box
        Casting and die.
    frame : Frame
        Its voxels.
    circuits : tuple of Circuit
        Cooling; tubes and plugs are repeated, of a ring the part in the sector is taken.
    sector : Sector or None
        Part that is solved.
    repeats : Sector or None
        Symmetry by which tubes and plugs are repeated.

    Returns
    -------
    Cooled
        What is left of the die, and a bath for each circuit.

    Raises
    ------
    InputError
        If a circuit runs through the casting or meets no die.
    """
    sectors = (sector, repeats)
    channels = [_Channel.of(circuit, circuit.shape, box, frame, sectors) for circuit in circuits
                if not isinstance(circuit.shape, Region)]  # fmt: skip
    die = box.die.copy()
    for channel in channels:
        die.reshape(-1)[channel.cells] = False
    regions = [_throughout(circuit, circuit.shape, die, box, frame, sector) for circuit in circuits
               if isinstance(circuit.shape, Region)]  # fmt: skip
    notes = tuple(
        f"circuit {channel.circuit.name}: only {100.0 * channel.share:.0f} % of its ring runs in the die and cools it"
        for channel in channels
        if channel.path.ring is not None and channel.share < _LEAST_IN_DIE
    )
    return Cooled(die, (*(channel.bath(die, frame, sector) for channel in channels), *regions), notes)


@dataclass(frozen=True, slots=True, eq=False)
class _Path:
    """Middle line of a channel, a ring or copies of a straight one: points along it, area of its wall on the whole."""

    ring: Ring | None
    lines: list[Line]
    points_mm: Array
    area_mm2: float

    @classmethod
    def of(cls, shape: Ring | Tube | Plug, spacing_mm: float, repeats: Sector | None) -> _Path:
        """Return the middle line of a shape; of a plug the wetted part."""
        if isinstance(shape, Ring):
            around = 2.0 * np.pi * shape.radius_mm
            angle = np.linspace(-np.pi, np.pi, int(_POINTS * around / spacing_mm) + 8, endpoint=False)
            circle = shape.radius_mm * np.column_stack([np.cos(angle), np.sin(angle)])
            points = np.column_stack([circle, np.full(angle.size, shape.height_mm)])
            return cls(shape, [], points, around * np.pi * shape.bore_mm)
        if isinstance(shape, Tube):
            start, end, tip_mm2 = np.array(shape.start_mm), np.array(shape.end_mm), 0.0
        else:
            start, way = np.array(shape.tip_mm), np.array(shape.outside_mm) - np.array(shape.tip_mm)
            end = start + way * min(WETTED_BORES * shape.bore_mm / float(np.linalg.norm(way)), 1.0)
            tip_mm2 = 0.25 * np.pi * shape.bore_mm**2
        lines = [(pair[0], pair[1]) for pair in copies(np.stack([start, end]), repeats)]
        length = float(np.linalg.norm(end - start))
        share = np.linspace(0.0, 1.0, int(_POINTS * length / spacing_mm) + 2)[:, None]
        points = np.concatenate([a + share * (b - a) for a, b in lines])
        return cls(None, lines, points, len(lines) * (np.pi * shape.bore_mm * length + tip_mm2))

    def distance_mm(self, points_mm: Array) -> Array:
        """Return the distance of points from the line [mm]."""
        if self.ring is not None:
            across = np.hypot(points_mm[:, 0], points_mm[:, 1]) - self.ring.radius_mm
            return np.hypot(across, points_mm[:, 2] - self.ring.height_mm)
        return np.min([distance_to_segment(points_mm, *line) for line in self.lines], axis=0)

    def near(self, radius_mm: float, frame: Frame) -> NDArray[np.int64]:
        """Return the flat places of the voxels whose middles lie within a distance of the line."""
        if self.ring is not None:
            x, y, z = frame.centres_mm
            across = np.hypot(x, y) - self.ring.radius_mm
            return np.flatnonzero(np.hypot(across, z - self.ring.height_mm) <= radius_mm)
        found = [np.empty(0, dtype=np.int64)]
        for line in self.lines:
            ends = (np.stack(line) - frame.origin_mm) / frame.spacing_mm
            reach = radius_mm / frame.spacing_mm + 1.0
            corners = np.floor(ends.min(axis=0) - reach), np.ceil(ends.max(axis=0) + reach)
            low, high = (np.clip(corner, 0, frame.shape).astype(np.int64) for corner in corners)
            index = np.indices(tuple(high - low)).reshape(3, -1) + low[:, None]
            cells = np.asarray(np.ravel_multi_index(tuple(index), frame.shape), dtype=np.int64)
            found.append(cells[distance_to_segment(frame.middles_mm(cells), *line) <= radius_mm])
        return np.concatenate(found)


@dataclass(frozen=True, slots=True, eq=False)
class _Channel:
    """A channel: its middle line, its cells in the die, and the share of its length that runs in the die."""

    circuit: Circuit
    bore_mm: float
    path: _Path
    cells: NDArray[np.int64]
    share: float

    @classmethod
    def of(
        cls, circuit: Circuit, shape: Ring | Tube | Plug, box: Box, frame: Frame, sectors: tuple[Sector | None, ...]
    ) -> _Channel:
        """Return the channel of a circuit, or refuse one that runs through the casting or meets no die.

        The voxels along the middle line always belong to it, lest a channel thinner than a voxel be lost.
        """
        sector, repeats = sectors
        path = _Path.of(shape, frame.spacing_mm, repeats)
        passed, within = frame.cells(_in_sector(path.points_mm, sector, frame.spacing_mm))
        die, solved = box.die.reshape(-1), box.inside.reshape(-1)
        held = within & die[passed]
        cells = np.unique(np.concatenate([passed[within], path.near(0.5 * shape.bore_mm, frame)]))
        cells = cells[solved[cells]]
        _check_casting(circuit, cells, box, frame)
        if not held.any():
            raise _outside(circuit, path.points_mm, box, frame)
        return cls(circuit, shape.bore_mm, path, cells[die[cells]], float(held.mean()))

    def bath(self, die: Mask, frame: Frame, sector: Sector | None) -> Bath:
        """Return the wall of the channel as a bath; each face stands for a like part of its true area."""
        mask = np.zeros(die.shape, dtype=bool)
        mask.reshape(-1)[self.cells] = True
        place = np.concatenate(
            [np.flatnonzero(die & np.roll(mask, side, axis)) for axis in range(3) for side in (1, -1)]
        )
        if place.size == 0:
            raise input_error("circuit", self.circuit.name, "no die is left around it", "a channel within the die",
                              "move it into the die or take smaller voxels")  # fmt: skip
        # Heat spreads around a round channel: the way to its wall is that of a ring of cells at their true distance.
        radius = 0.5 * self.bore_mm
        far = np.maximum(self.path.distance_mm(frame.middles_mm(place)) / radius, 1.0)
        half = np.clip(radius * np.log(far) / frame.spacing_mm, *_HALF)
        area = self.path.area_mm2 * self.share * share_of(sector) / frame.spacing_mm**2
        return _bath(self.circuit, place, np.full(place.size, area / place.size), half)


def _in_sector(points_mm: Array, sector: Sector | None, spacing_mm: float) -> Array:
    """Return those of the points that lie in a sector; those on its edge, the axis, moved to where it has voxels."""
    if sector is None:
        return points_mm
    middle, least = sector.start_rad + 0.5 * sector.span_rad, spacing_mm * max(1.5 / sector.span_rad, 1.0)
    moved = points_mm.copy()
    on_axis = np.hypot(points_mm[:, 0], points_mm[:, 1]) < 0.5 * spacing_mm
    moved[on_axis, :2] = least * np.cos(middle), least * np.sin(middle)
    return moved[on_axis | sector.holds(points_mm[:, 0], points_mm[:, 1])]


def _check_casting(circuit: Circuit, cells: NDArray[np.int64], box: Box, frame: Frame) -> None:
    """Refuse a channel that runs through the casting."""
    metal = box.fraction >= 0.5
    met = cells[metal.reshape(-1)[cells] & box.inside.reshape(-1)[cells]]
    if met.size:
        depth = float(distance_transform_edt(metal).reshape(-1)[met].max()) * frame.spacing_mm
        raise input_error(
            "circuit", circuit.name, f"it runs through the casting, up to {depth:.1f} mm below its surface",
            "a channel within the die", "move it away from the casting",
        )  # fmt: skip


def _outside(circuit: Circuit, points: Array, box: Box, frame: Frame) -> InputError:
    """Return the refusal of a circuit that meets no die."""
    away = np.asarray(cKDTree(frame.middles_mm(np.flatnonzero(box.die))).query(points)[0])
    return input_error(
        "circuit", circuit.name, f"it lies outside the die, {float(away.min()):.0f} mm away from it",
        "a channel within the die", "move it, or make the die wall thicker",
    )  # fmt: skip


def _throughout(circuit: Circuit, shape: Region, die: Mask, box: Box, frame: Frame, sector: Sector | None) -> Bath:
    """Return a region cooled throughout: the true area of its walls is spread evenly over the die in it.

    The medium passes through the cells themselves, so no half cell lies between.
    """
    mask = filled(shape, frame, None) > 0.0
    place = np.flatnonzero(mask & die)
    if place.size == 0:
        raise input_error("circuit", circuit.name, "its region holds no die", "a region within the die",
                          "move it, or make the die wall thicker")  # fmt: skip
    (near, far), (low, high) = shape.radius_mm, shape.height_mm
    wall = 2.0 * np.pi * ((near + far) * (high - low) + far**2 - near**2)
    volume = np.pi * (far**2 - near**2) * (high - low) * share_of(sector)
    held = 1.0 - box.fraction.reshape(-1)[place].astype(float)
    return _bath(circuit, place, wall * share_of(sector) * frame.spacing_mm * held / volume, np.zeros(place.size))


def _bath(circuit: Circuit, place: NDArray[np.int64], area: Array, half: Array) -> Bath:
    """Return a circuit as a bath."""
    return Bath(circuit.name, place, area, half, circuit.coefficient_w_m2k, circuit.temp_c, circuit.on_s)
