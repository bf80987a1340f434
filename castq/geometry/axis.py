"""Axis, rotational order and mirror plane of a part, however it lies in the drawing, and whether it looks like a wheel.

The axis is the principal axis of inertia whose two others are equal. The order is read from the angular harmonics of
the mass, then confirmed by turning the part one pitch and measuring the share of the volume that no longer coincides.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.errors import input_error
from castq.geometry.mesh import Mesh
from castq.geometry.voxels import FloatField, Grid, rasterise

# Share of the volume that may differ after one pitch: for a sector to stand for the whole part, and for a spoke
# pattern to be called one although bolt or valve holes break it.
SAME_SHARE = 0.005
PATTERN_SHARE = 0.05
# Share of the angular harmonics' power that must lie on the multiples of a spoke number.
PATTERN_POWER = 0.85
# Below this power, as a share of the mass, the part may be turned.
_ROUND_POWER = 0.02
_MAX_ORDER = 40
_HARMONICS = 80
# The square grid shows in the higher ones, which holes do not need.
_HOLE_HARMONICS = 24
_ANGLES = 1024
_RINGS = 8
# Tilt [rad] and offset (share of the radius) up to which the drawing's own axis is kept: a valve hole moves the
# centre of mass by less than this.
_KEEP_TILT = 1e-3
_KEEP_OFFSET = 1e-3
_BALANCE = 0.02
_BORE_RADIUS_MM = 12.0
# Windows of a car wheel, width over diameter and volume over its envelope: common practice, no source.
_WIDTH_OVER_DIAMETER = (0.25, 0.85)
_FILLED_SHARE = (0.04, 0.40)

Vector = NDArray[np.float64]
Harmonics = NDArray[np.complex128]


@dataclass(frozen=True, slots=True, eq=False)
class Axis:
    """Where the axis of a part lies and how the part repeats around it.

    Attributes
    ----------
    direction : array (3,)
        Unit vector along the axis [-].
    centre_mm : array (3,)
        Point on the axis, half way along the part [mm].
    rotation : array (3, 3)
        Rows of the frame whose z is the axis [-]; `mesh.moved(rotation, centre_mm)` puts the part on it.
    order : int
        Rotational order of the whole shape; 1 when nothing repeats.
    spoke_order : int
        Order of the spoke pattern alone, which bolt or valve holes may break.
    mirror : bool
        Whether a plane through the axis mirrors the whole shape.
    phase_rad : float
        Angle around the axis of a heavy place of the spoke pattern, in the new frame [rad].
    mirror_rad : float
        Angle of the best mirror plane, in the new frame [rad].
    mismatch : dict of str to float
        Share of the volume that does not coincide, under `order`, `spoke_order` and `mirror` [-].
    warnings : tuple of str
        What the user should know.
    """

    direction: Vector
    centre_mm: Vector
    rotation: NDArray[np.float64]
    order: int
    spoke_order: int
    mirror: bool
    phase_rad: float
    mirror_rad: float
    mismatch: dict[str, float]
    warnings: tuple[str, ...]


def find_axis(mesh: Mesh, direction: ArrayLike | None = None) -> Axis:
    """Return the axis of a part, its rotational order and its mirror symmetry.

    Parameters
    ----------
    mesh : Mesh
        The closed part, lying anywhere in any direction [mm].
    direction : array_like (3,), optional
        Direction of the axis if it is known, for example for a sector or half a wheel [-].

    Returns
    -------
    Axis
        Axis, symmetry and warnings.

    Raises
    ------
    InputError
        If the given direction is not a vector, or the part has no volume.
    """
    mass_centre, second_moment = _moments(mesh)
    warnings: list[str] = []
    if direction is None:
        found, balance = _principal(second_moment)
        if balance > _BALANCE:
            warnings.append(
                f"the part is not balanced around an axis (moments of inertia differ by {100 * balance:.0f} %): "
                "it may be a sector or not a wheel; give the axis direction"
            )
    else:
        found = _unit(direction)
    found, centre = _settled(mesh, found, mass_centre, keep=direction is None)
    rotation = _frame(found)
    warnings += _place_warnings(found, centre)
    moved = mesh.moved(rotation, centre)
    symmetry = _Symmetry.of(moved)
    measured = symmetry.measured()
    return Axis(found, centre, rotation, *measured, tuple(warnings + symmetry.warnings()))


def _unit(direction: ArrayLike) -> Vector:
    """Return the user's direction with length one."""
    vector = np.asarray(direction, dtype=float)
    length = float(np.linalg.norm(vector)) if vector.shape == (3,) else 0.0
    if not (np.isfinite(length) and length > 0.0):
        raise input_error(
            "axis", "", f"direction {direction!r}", "three numbers, not all zero", "give for example 0, 0, 1"
        )
    return vector / length


def _moments(mesh: Mesh) -> tuple[Vector, NDArray[np.float64]]:
    """Return centre of mass [mm] and covariance of the mass [mm2], exactly, from the tetrahedra under the facets."""
    base = mesh.vertices.mean(axis=0)
    a, b, c = np.moveaxis(mesh.triangles - base, 1, 0)
    volume = np.einsum("ij,ij->i", a, np.cross(b, c)) / 6.0
    total = float(volume.sum())
    if abs(total) <= 1e-9 * float(np.abs(volume).sum()):
        raise input_error("mesh", "", "the surface encloses no volume", "a closed solid", "export the part as a solid")
    far = a + b + c
    centre = volume @ far / (4.0 * total)
    second = sum((volume[:, None] * p).T @ p for p in (a, b, c, far)) / (20.0 * total)
    return centre + base, second - np.outer(centre, centre)


def _principal(second_moment: NDArray[np.float64]) -> tuple[Vector, float]:
    """Return the principal axis whose two others are most alike, and by how much they differ [-]."""
    values, vectors = np.linalg.eigh(second_moment)
    low, high = (values[1] - values[0]) / values[1], (values[2] - values[1]) / values[2]
    return (vectors[:, 2], float(low)) if low < high else (vectors[:, 0], float(high))


def _settled(mesh: Mesh, direction: Vector, mass_centre: Vector, keep: bool) -> tuple[Vector, Vector]:
    """Return direction and centre, on the axis of the drawing where they miss it by no more than a valve hole would."""
    nearest = int(np.argmax(np.abs(direction)))
    direction = direction * np.sign(direction[nearest])
    drawn = np.eye(3)[nearest]
    if keep and np.linalg.norm(direction - drawn) < _KEEP_TILT:
        direction = drawn
    rotation = _frame(direction)
    x, y, z = rotation @ (mesh.vertices - mass_centre).T
    u, v, radius = _outer_circle(x, y)
    centre = mass_centre + np.array([u, v, 0.5 * (z.min() + z.max())]) @ rotation
    across = centre - (centre @ direction) * direction
    return direction, centre - across if np.linalg.norm(across) < _KEEP_OFFSET * radius else centre


def _outer_circle(x: Vector, y: Vector) -> tuple[float, float, float]:
    """Return centre and radius of the round outline of the part; its centre of mass if the outline is not round."""
    from scipy.spatial import ConvexHull

    outline = np.column_stack([x, y])
    outline = outline[ConvexHull(outline).vertices]
    columns = np.column_stack([2.0 * outline, np.ones(len(outline))])
    u, v, rest = np.linalg.lstsq(columns, (outline**2).sum(axis=1), rcond=None)[0]
    radius = float(np.sqrt(max(rest + u * u + v * v, 0.0)))
    off_round = np.abs(np.hypot(outline[:, 0] - u, outline[:, 1] - v) - radius).max()
    if len(outline) < 12 or off_round > _KEEP_OFFSET * radius:
        return 0.0, 0.0, float(np.hypot(*outline.T).max())
    return float(u), float(v), radius


def _frame(direction: Vector) -> NDArray[np.float64]:
    """Return the rotation that brings the direction to z by the shortest way, as rows."""
    x, y, z = direction
    if z < -0.999999:
        return np.diag([1.0, -1.0, -1.0])
    # Closed form of the shortest rotation of (x, y, z) to (0, 0, 1).
    k = 1.0 / (1.0 + z)
    return np.array([[1.0 - k * x * x, -k * x * y, -x], [-k * x * y, 1.0 - k * y * y, -y], [x, y, z]])


def _place_warnings(direction: Vector, centre: Vector) -> list[str]:
    """Return notes about an axis that is not the drawing's z axis."""
    notes = []
    if direction[2] < 1.0 - 1e-9:
        x, y, z = direction
        notes.append(f"the axis lies along ({x:.3f}, {y:.3f}, {z:.3f}), not along z; the part was turned")
    offset = float(np.linalg.norm(centre - (centre @ direction) * direction))
    if offset > 0.0:
        notes.append(f"the axis passes {offset:.1f} mm beside the origin; the part was moved")
    return notes


class _Symmetry:
    """The part on its axis: a fraction field to compare turned copies with, and the angular harmonics of its mass."""

    def __init__(self, mesh: Mesh, field: FloatField, spacing: float, harmonics: Harmonics) -> None:
        self.mesh, self.field, self.spacing = mesh, field, spacing
        self.harmonics = harmonics
        self.power = (np.abs(harmonics) ** 2).sum(axis=0)
        self.mismatch: dict[str, float] = {}
        self.spoke_order, self.order, self.mirror = 1, 1, False

    @classmethod
    def of(cls, mesh: Mesh) -> _Symmetry:
        """Sample a part that lies on its axis."""
        radius = float(np.linalg.norm(mesh.vertices[:, :2], axis=1).max())
        spacing = radius / 80.0
        field = _field(mesh, radius, spacing)
        return cls(mesh, field, spacing, _angular_harmonics(field.sum(axis=2, dtype=np.float64)))

    def differs(self, transform: NDArray[np.float64]) -> float:
        """Return the share of the volume that does not coincide after a turn or a reflection [-]."""
        faces = self.mesh.faces if np.linalg.det(transform) > 0.0 else self.mesh.faces[:, ::-1]
        radius = 80.0 * self.spacing
        other = _field(Mesh(self.mesh.vertices @ transform.T, faces), radius, self.spacing)
        return float(0.5 * np.abs(other - self.field).sum(dtype=np.float64) / self.field.sum(dtype=np.float64))

    def _find_orders(self) -> None:
        """Set the order of the spoke pattern, then that of the whole shape, which divides it."""
        multiples = {n: float(self.power[n::n].sum()) for n in range(_MAX_ORDER, 1, -1)}
        likely = [n for n, power in multiples.items() if power > PATTERN_POWER * float(self.power[1:].sum())]
        share = {1: 0.0}
        for n in likely:
            share[n] = self.differs(_turn(2.0 * np.pi / n))
            if share[n] < PATTERN_SHARE:
                self.spoke_order = n
                break
        for n in (n for n in range(self.spoke_order, 0, -1) if self.spoke_order % n == 0):
            share[n] = share[n] if n in share else self.differs(_turn(2.0 * np.pi / n))
            if share[n] < SAME_SHARE:
                self.order = n
                break
        self.mismatch |= {"order": share[self.order], "spoke_order": share[self.spoke_order]}

    def _mirror_angle(self) -> float:
        """Return the angle of the plane that mirrors the harmonics best [rad]."""
        numbers = np.arange(self.harmonics.shape[1])
        weights = (self.harmonics**2).sum(axis=0)
        angle, step = 0.5 * np.pi, 0.5 * np.pi
        for steps in (2 * _ANGLES, 64, 64):
            angles = angle + step * np.linspace(-1.0, 1.0, steps, endpoint=False)
            likeness = (np.exp(2j * np.outer(angles, numbers)) @ weights).real
            angle, step = float(angles[np.argmax(likeness)]), 4.0 * step / steps
        # The spokes leave as many planes as there are spokes; the holes that break the pattern choose among them.
        planes = angle + np.pi / self.spoke_order * np.arange(self.spoke_order)
        holes = np.where((numbers % self.spoke_order == 0) | (numbers > _HOLE_HARMONICS), 0.0, weights)
        likeness = (np.exp(2j * np.outer(planes, numbers)) @ holes).real
        return float(planes[np.argmax(likeness)] % np.pi)

    def measured(self) -> tuple[int, int, bool, float, float, dict[str, float]]:
        """Return order, spoke order, mirror, phase, mirror angle and mismatches; a turned part has no pattern."""
        maybe_round = float(self.power[1:].sum()) < _ROUND_POWER * float(self.power[0])
        if maybe_round and self.differs(_turn(1.0)) < SAME_SHARE:
            return 1, 1, True, 0.0, 0.0, {"order": 0.0, "spoke_order": 0.0, "mirror": 0.0}
        self._find_orders()
        angle = self._mirror_angle()
        self.mismatch["mirror"] = self.differs(_reflection(angle))
        self.mirror = self.mismatch["mirror"] < SAME_SHARE
        phase = -float(np.angle(self.harmonics[:, self.spoke_order].sum())) / self.spoke_order
        return self.order, self.spoke_order, self.mirror, phase, angle, self.mismatch

    def warnings(self) -> list[str]:
        """Return notes about the pattern."""
        if self.spoke_order == 1:
            return ["no spoke pattern that repeats around the axis was found"]
        if self.order < self.spoke_order:
            broken = 100.0 * self.mismatch["spoke_order"]
            return [
                f"{self.spoke_order}-fold spoke pattern, broken by {broken:.1f} % of the volume (bolt or valve holes); "
                f"the whole shape is {self.order}-fold"
            ]
        return []


def _field(mesh: Mesh, radius: float, spacing: float) -> FloatField:
    """Return the filled shares of a part on its axis, in a grid that holds it however it is turned."""
    low, high = mesh.vertices[:, 2].min(), mesh.vertices[:, 2].max()
    across, along = int(np.ceil(2.0 * radius / spacing)) + 2, int(np.ceil((high - low) / spacing)) + 2
    origin = np.array([-0.5 * across * spacing, -0.5 * across * spacing, 0.5 * (low + high) - 0.5 * along * spacing])
    return rasterise(mesh, origin, spacing, (across, across, along), sub_columns=1)[0]


def _angular_harmonics(heights: NDArray[np.float64]) -> Harmonics:
    """Return the angular harmonics of the metal along z on rings around the axis."""
    from scipy.ndimage import map_coordinates

    middle = 0.5 * (heights.shape[0] - 1)
    radii = np.arange(1.0, middle)
    angles = 2.0 * np.pi * np.arange(_ANGLES) / _ANGLES
    places = middle + radii[None, :, None] * np.stack([np.cos(angles), np.sin(angles)])[:, None, :]
    metal = map_coordinates(heights, places, order=1) * radii[:, None]
    # Wide overlapping rings: narrow ones would show the square grid at every edge along the ring.
    rings = np.clip(1.0 - np.abs(_RINGS * radii / middle - np.arange(_RINGS + 1)[:, None]), 0.0, 1.0)
    harmonics = np.fft.rfft(rings @ metal, axis=1)[:, : _HARMONICS + 1] / _ANGLES
    # Weighed by contrast: a full ring has none, whatever its mass.
    mass = np.abs(harmonics[:, :1])
    return harmonics / np.sqrt(np.maximum(mass, 1e-9 * mass.max()))


def _turn(angle: float) -> NDArray[np.float64]:
    """Return the rotation around z by an angle [rad]."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def _reflection(angle: float) -> NDArray[np.float64]:
    """Return the reflection in the plane through z at an angle [rad]."""
    c, s = np.cos(2.0 * angle), np.sin(2.0 * angle)
    return np.array([[c, s, 0.0], [s, -c, 0.0], [0.0, 0.0, 1.0]])


def _envelope_mm(grid: Grid) -> tuple[float, float]:
    """Return the largest side across the axis and the height along it of the metal [mm]."""
    extents = [np.ptp(np.flatnonzero(grid.fraction.any(axis=axes))) + 1 for axes in ((1, 2), (0, 2), (0, 1))]
    return grid.spacing_mm * float(max(extents[:2])), grid.spacing_mm * float(extents[2])


def filled_share(grid: Grid) -> float:
    """Return the volume of the metal over that of the cylinder around it [-].

    Parameters
    ----------
    grid : Grid
        The part on its axis [mm].
    """
    diameter, width = _envelope_mm(grid)
    return float(grid.volume_mm3 / (0.25 * np.pi * diameter**2 * width))


def wheel_likeness(grid: Grid) -> tuple[str, ...]:
    """Return what about a part does not look like a wheel; empty when nothing does.

    Parameters
    ----------
    grid : Grid
        The part on its axis, as `Mesh.moved` with an `Axis` puts it [mm].

    Returns
    -------
    tuple of str
        One sentence for each doubt.
    """
    x, y, _ = grid.centres_mm
    diameter, width = _envelope_mm(grid)
    ratio, filled = width / diameter, filled_share(grid)
    notes = []
    near = np.hypot(*np.meshgrid(x, y, indexing="ij")) < max(_BORE_RADIUS_MM, grid.spacing_mm)
    if grid.fraction[near].any():
        notes.append(f"no bore: there is metal within {_BORE_RADIUS_MM:.0f} mm of the axis")
    if not _WIDTH_OVER_DIAMETER[0] <= ratio <= _WIDTH_OVER_DIAMETER[1]:
        low, high = _WIDTH_OVER_DIAMETER
        notes.append(f"width over diameter is {ratio:.2f}, a wheel has {low} to {high}")
    if not _FILLED_SHARE[0] <= filled <= _FILLED_SHARE[1]:
        low, high = (100.0 * share for share in _FILLED_SHARE)
        notes.append(f"metal fills {100 * filled:.0f} % of the part's envelope, of a wheel {low:.0f} to {high:.0f} %")
    return tuple(notes)
