"""Invented wheels as closed solids: the demo pair, random ones for tests, and the builder for any `WheelDesign`."""

from __future__ import annotations

from dataclasses import replace

import manifold3d as m3
import numpy as np
from numpy.typing import NDArray

from castq.core.errors import CastqError, InputError
from castq.geometry.mesh import Mesh
from castq.geometry.wheel_design import (
    POCKET_DRAFT,
    POCKET_RAMP_MM,
    SECTION_DEPTH,
    SECTION_WIDTH,
    SpokeCurves,
    WheelDesign,
    inner_radius_mm,
    outer_radius_mm,
    rim_outline,
    spoke_curves,
)

__all__ = ["WheelDesign", "build_wheel", "demo_a", "demo_b", "expected_genus", "genus", "random_design"]

Array = NDArray[np.float64]
BELOW_BACK_MM = 4.0


def _revolved(outline: Array, segments: int) -> m3.Manifold:
    """Return the solid that a closed (radius, height) outline sweeps round the axis [mm]."""
    return m3.CrossSection([outline], m3.FillRule.NonZero).revolve(segments)


def _lofted(rings: Array) -> m3.Manifold:
    """Return the solid through equal rings of points, array (stations, points, 3) [mm]."""
    stations, count, _ = rings.shape
    here = np.arange(count)
    following = np.roll(here, -1)
    base = np.arange(stations - 1)[:, None] * count
    a, b = base + here, base + following
    sides = np.stack([[a, b + count, b], [a, a + count, b + count]]).transpose(0, 2, 3, 1).reshape(-1, 3)
    fan = np.column_stack([np.zeros(count - 2, dtype=int), here[1:-1], here[2:]])
    faces = np.vstack([sides, fan, fan[:, ::-1] + (stations - 1) * count])
    mesh = m3.Mesh64(rings.reshape(-1, 3), faces.astype(np.uint64))
    return m3.Manifold(mesh)


def _spoke_rings(curve: SpokeCurves, along: Array) -> Array:
    """Return the rings of the spoke without pocket [mm]."""
    depth = np.concatenate([SECTION_DEPTH, SECTION_DEPTH[::-1]])
    width = np.concatenate([SECTION_WIDTH, -SECTION_WIDTH[::-1]])
    rings = np.empty((len(along), len(depth), 3))
    rings[..., 0] = along[:, None]
    rings[..., 1] = curve.half_width_mm[:, None] * width
    rings[..., 2] = curve.face_mm[:, None] - curve.thickness_mm[:, None] * depth
    return rings


def _pocket_rings(curve: SpokeCurves, along: Array) -> Array:
    """Return the rings of the back pocket, reaching out of the back [mm]."""
    rings = np.empty((len(along), 4, 3))
    rings[..., 0] = along[:, None]
    for column, (side, top) in enumerate([(-1, False), (-1, True), (1, True), (1, False)]):
        height = curve.pocket_mm if top else np.full_like(along, -BELOW_BACK_MM)
        rings[:, column, 1] = side * (curve.pocket_half_width_mm - POCKET_DRAFT * height)
        rings[:, column, 2] = curve.face_mm - curve.thickness_mm + height
    return rings


def _spoke(design: WheelDesign) -> m3.Manifold:
    """Return one spoke along +x, longer than needed at both ends."""
    start, end = design.hub_radius_mm, design.spoke_end_mm
    along = np.concatenate([[0.7 * start], np.linspace(start, end, 36), [end + 0.15 * end]])
    solid = _lofted(_spoke_rings(spoke_curves(design, along), along))
    first, last = start + design.pocket_from_hub_mm, end - design.pocket_from_rim_mm
    if design.pocket_depth_mm == 0.0:
        return solid
    ramp = np.linspace(0.0, POCKET_RAMP_MM, 6)
    middle = np.linspace(first + POCKET_RAMP_MM, last - POCKET_RAMP_MM, 24)
    along = np.concatenate([first + ramp, middle[1:-1], last - ramp[::-1]])
    return solid - _lofted(_pocket_rings(spoke_curves(design, along), along))


def _spokes(design: WheelDesign) -> m3.Manifold:
    """Return all spokes, cut to length inside the rim."""
    one = _spoke(design)
    shift = design.member_offset_mm
    pair = [one.translate([0.0, side * shift, 0.0]) for side in (-1.0, 1.0)] if design.twin else [one]
    pitch = 360.0 / design.spokes
    every = [spoke.rotate([0.0, 0.0, pitch * k]) for k in range(design.spokes) for spoke in pair]
    outer, inner = rim_outline(design)
    height = np.unique(np.concatenate([outer[:, 0], inner[:, 0]]))
    middle = 0.5 * (outer_radius_mm(design, height) + inner_radius_mm(design, height))
    limit = np.column_stack([np.append(middle, [0.0, 0.0]), np.append(height, [height[-1], height[0]])])
    return m3.Manifold.batch_boolean(every, m3.OpType.Add) ^ _revolved(limit, design.segments)


def _drill(diameter: float, low: float, high: float, segments: int) -> m3.Manifold:
    """Return a cylinder round the axis between two heights [mm]."""
    return m3.Manifold.cylinder(high - low, diameter / 2.0, circular_segments=segments).translate([0.0, 0.0, low])


def _holes(design: WheelDesign) -> m3.Manifold:
    """Return all that is drilled: bore, bolt holes with counterbores, valve hole."""
    low, high = design.hub_offset_mm - 5.0, design.hub_face_mm + 5.0
    seat = design.hub_face_mm - design.counterbore_depth_mm
    around = max(48, design.segments // 4)
    bolt = _drill(design.bolt_hole_mm, low, high, around) + _drill(design.counterbore_mm, seat, high, around)
    bolt = bolt.translate([design.bolt_circle_mm / 2.0, 0.0, 0.0])
    holes = [bolt.rotate([0.0, 0.0, 360.0 / design.bolts * (k + 0.5)]) for k in range(design.bolts)]
    holes.append(_drill(design.bore_diameter_mm, low, high, design.segments))
    if design.valve_hole_mm > 0.0:
        start = design.spoke_end_mm - 30.0
        valve = _drill(design.valve_hole_mm, start, start + 80.0, around).rotate([0.0, 90.0, 0.0])
        holes.append(valve.translate([0.0, 0.0, design.valve_height_mm]).rotate([0.0, 0.0, 180.0 / design.spokes]))
    return m3.Manifold.batch_boolean(holes, m3.OpType.Add)


def build_wheel(design: WheelDesign, edge_mm: float | None = None) -> Mesh:
    """Return the wheel as one closed mesh.

    Parameters
    ----------
    design : WheelDesign
        The wheel [-]; checked first.
    edge_mm : float, optional
        Edge that few facets exceed [mm]; facets are as long as the shape allows when not given.

    Returns
    -------
    Mesh
        Closed, outward-facing surface; axis z, outboard face to +z [mm].
    """
    design.validate()
    outer, inner = rim_outline(design)
    rim = _revolved(np.vstack([outer, inner[::-1]])[:, ::-1], design.segments)
    hub = _drill(2.0 * design.hub_radius_mm, design.hub_offset_mm, design.hub_face_mm, design.segments)
    solid = m3.Manifold.batch_boolean([rim, hub, _spokes(design)], m3.OpType.Add) - _holes(design)
    if solid.status() != m3.Error.NoError or solid.is_empty():
        raise CastqError(f"wheel design {design.name}: the solids did not unite ({solid.status()})")
    mesh = (solid.refine_to_length(edge_mm) if edge_mm else solid).to_mesh64()
    return Mesh(np.asarray(mesh.vert_properties)[:, :3].copy(), np.asarray(mesh.tri_verts).astype(np.int64))


def expected_genus(design: WheelDesign) -> int:
    """Return how many holes go through the wheel.

    Parameters
    ----------
    design : WheelDesign
        The wheel [-].

    Returns
    -------
    int
        Windows, bore, bolt holes and valve hole together [-].
    """
    return design.members + 1 + design.bolts + (1 if design.valve_hole_mm > 0.0 else 0)


def genus(mesh: Mesh) -> int:
    """Return how many holes go through a closed surface in one piece.

    Parameters
    ----------
    mesh : Mesh
        Closed surface [mm].

    Returns
    -------
    int
        Genus, from Euler's formula [-].
    """
    edges = np.sort(mesh.faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    key = edges[:, 0] * (int(mesh.faces.max()) + 1) + edges[:, 1]
    euler = len(np.unique(mesh.faces)) - len(np.unique(key)) + len(mesh.faces)
    return 1 - euler // 2


# What the two demo wheels share: an as-cast 18-inch wheel, rim and hub with their machining allowance.
_DEMO = WheelDesign(
    rim_thickness_mm=9.5,
    seat_thickness_mm=9.5,
    flange_width_mm=7.5,
    hub_radius_mm=78.0,
    hub_height_mm=52.0,
    hub_offset_mm=34.0,
    bore_diameter_mm=52.0,
    bolt_hole_mm=12.0,
    counterbore_mm=26.0,
    counterbore_depth_mm=12.0,
    pocket_depth_mm=9.0,
    pocket_wall_mm=10.0,
    hub_root_mm=0.0,
)


def demo_a() -> WheelDesign:
    """Return the first demo wheel: slender spokes that end in a heavy root at the rim.

    Returns
    -------
    WheelDesign
        Invented 18-inch five-spoke wheel [mm].
    """
    return replace(
        _DEMO,
        name="demo A",
        spoke_width_hub_mm=62.0,
        spoke_width_rim_mm=46.0,
        spoke_thickness_hub_mm=25.0,
        spoke_thickness_rim_mm=16.0,
        rim_root_mm=15.0,
        root_length_mm=38.0,
        pocket_from_rim_mm=34.0,
    )


def demo_b() -> WheelDesign:
    """Return the redesign: spokes that grow toward the hub, and no heavy root at the rim.

    Returns
    -------
    WheelDesign
        Invented 18-inch five-spoke wheel [mm].
    """
    return replace(
        _DEMO,
        name="demo B",
        spoke_width_hub_mm=66.0,
        spoke_width_rim_mm=44.0,
        spoke_thickness_hub_mm=27.0,
        spoke_thickness_rim_mm=21.0,
        rim_root_mm=0.0,
        root_length_mm=26.0,
        pocket_from_hub_mm=10.0,
        pocket_from_rim_mm=4.0,
    )


def random_design(rng: np.random.Generator) -> WheelDesign:
    """Return a random wheel that can be made.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance [-].

    Returns
    -------
    WheelDesign
        5 to 20 spokes, single or in pairs, flat or dished, with or without pockets and valve hole [mm].
    """
    while True:
        design = _draw(rng)
        try:
            design.validate()
        except InputError:
            continue
        return design


def _draw(rng: np.random.Generator) -> WheelDesign:
    """Return a random wheel, which may be impossible."""
    members = int(rng.integers(5, 21))
    twin = bool(members % 2 == 0 and members >= 10 and rng.random() < 0.5)
    slim = min(1.0, 6.5 / members)
    depth = rng.uniform(18.0, 40.0)
    return replace(
        _draw_rim_and_hub(rng),
        spokes=members // 2 if twin else members,
        twin=twin,
        twin_gap_mm=rng.uniform(8.0, 24.0),
        spoke_width_hub_mm=rng.uniform(36.0, 60.0) * slim,
        spoke_width_rim_mm=rng.uniform(28.0, 60.0) * slim,
        spoke_thickness_hub_mm=depth,
        spoke_thickness_rim_mm=rng.uniform(14.0, 34.0),
        dish_mm=0.0 if rng.random() < 0.3 else rng.uniform(5.0, 45.0),
        hub_root_mm=rng.uniform(0.0, 8.0) * slim,
        rim_root_mm=rng.uniform(0.0, 14.0) * slim,
        root_length_mm=rng.uniform(20.0, 45.0),
        pocket_depth_mm=0.0 if members > 12 or rng.random() < 0.3 else rng.uniform(0.3, 0.6) * depth,
        pocket_wall_mm=rng.uniform(5.0, 9.0),
        pocket_from_hub_mm=rng.uniform(8.0, 30.0),
        pocket_from_rim_mm=rng.uniform(10.0, 30.0),
    )


def _draw_rim_and_hub(rng: np.random.Generator) -> WheelDesign:
    """Return a wheel with a random rim and hub."""
    return WheelDesign(
        name="random",
        bead_seat_diameter_mm=float(rng.choice([405.6, 436.6, 462.0, 487.4])),
        rim_width_mm=rng.uniform(165.0, 241.0),
        rim_thickness_mm=rng.uniform(6.0, 11.0),
        seat_thickness_mm=rng.uniform(7.0, 11.0),
        flange_width_mm=rng.uniform(9.0, 12.0),
        well_depth_mm=rng.uniform(14.0, 22.0),
        well_width_mm=rng.uniform(25.0, 50.0),
        well_offset_mm=rng.uniform(-10.0, 30.0),
        hub_radius_mm=rng.uniform(70.0, 84.0),
        hub_height_mm=rng.uniform(38.0, 56.0),
        hub_offset_mm=rng.uniform(10.0, 55.0),
        bore_diameter_mm=rng.uniform(54.0, 68.0),
        bolts=int(rng.choice([4, 5, 5, 5, 6])),
        bolt_circle_mm=rng.uniform(104.0, 116.0),
        counterbore_mm=rng.uniform(24.0, 30.0),
        counterbore_depth_mm=rng.uniform(12.0, 28.0),
        valve_hole_mm=0.0 if rng.random() < 0.4 else 11.3,
    )
