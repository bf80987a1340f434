"""Where the metal of a designed wheel is and which zone it belongs to, from the measures alone (no mesh, no voxels)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castq.geometry.roles import BOLT_SEAT_MARGIN_MM, CODE, LARGEST_JUNCTION_SHARE
from castq.geometry.wheel_design import (
    POCKET_DRAFT,
    SECTION_DEPTH,
    SECTION_WIDTH,
    WheelDesign,
    inner_radius_mm,
    outer_radius_mm,
    spoke_curves,
)

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class _Polar:
    """Points in the wheel's own terms: radius, position along and across the nearest spoke, height [mm]."""

    radius: Array
    along: Array
    across: Array
    height: Array


def _fold(points: Array, count: int, phase: float = 0.0) -> tuple[Array, Array]:
    """Return (along, across) [mm] in the frame of the nearest of `count` equal directions."""
    pitch = 2.0 * np.pi / count
    angle = np.arctan2(points[..., 1], points[..., 0]) - phase * pitch
    angle -= pitch * np.round(angle / pitch)
    radius = np.hypot(points[..., 0], points[..., 1])
    return radius * np.cos(angle), radius * np.sin(angle)


def _polar(design: WheelDesign, points: Array) -> _Polar:
    along, across = _fold(points, design.spokes)
    across = np.abs(across) - design.member_offset_mm if design.twin else across
    return _Polar(np.hypot(points[..., 0], points[..., 1]), along, across, points[..., 2])


def _in_spoke(design: WheelDesign, p: _Polar, pockets: bool = True) -> Mask:
    """Return where the endless spoke is, with or without its back pocket."""
    curve = spoke_curves(design, p.along)
    below = (curve.face_mm - p.height) / curve.thickness_mm
    half_width = curve.half_width_mm * np.interp(below, SECTION_DEPTH, SECTION_WIDTH)
    metal = (below >= 0.0) & (below <= 1.0) & (np.abs(p.across) <= half_width)
    if not pockets or design.pocket_depth_mm == 0.0:
        return np.asarray(metal)
    above_back = p.height - (curve.face_mm - curve.thickness_mm)
    room = curve.pocket_half_width_mm - POCKET_DRAFT * above_back
    return np.asarray(metal & ~((above_back < curve.pocket_mm) & (np.abs(p.across) < room)))


def _from_bolt(design: WheelDesign, points: Array) -> Array:
    """Return the distance from the nearest bolt axis [mm]."""
    along, across = _fold(points, design.bolts, phase=0.5)
    return np.asarray(np.hypot(along - design.bolt_circle_mm / 2.0, across))


def _in_holes(design: WheelDesign, points: Array, radius: Array) -> Mask:
    height, bolt = points[..., 2], _from_bolt(design, points)
    hole = radius < design.bore_diameter_mm / 2.0
    hole |= bolt < design.bolt_hole_mm / 2.0
    hole |= (bolt < design.counterbore_mm / 2.0) & (height > design.hub_face_mm - design.counterbore_depth_mm)
    angle = np.pi / design.spokes
    along = points[..., 0] * np.cos(angle) + points[..., 1] * np.sin(angle)
    across = points[..., 1] * np.cos(angle) - points[..., 0] * np.sin(angle)
    off = np.hypot(across, height - design.valve_height_mm)
    return np.asarray(hole | ((off < design.valve_hole_mm / 2.0) & (along > design.spoke_end_mm - 30.0)))


def inside(design: WheelDesign, points_mm: Array) -> Mask:
    """Return which points lie in metal.

    Parameters
    ----------
    design : WheelDesign
        The wheel [-].
    points_mm : array (..., 3)
        Points in the wheel's frame [mm].

    Returns
    -------
    bool array (...)
        True in metal [-].
    """
    p = _polar(design, points_mm)
    within = (p.radius <= outer_radius_mm(design, p.height)) & (np.abs(p.height) <= design.half_height_mm)
    ring = within & (p.radius >= inner_radius_mm(design, p.height))
    hub = (p.radius <= design.hub_radius_mm) & (p.height >= design.hub_offset_mm) & (p.height <= design.hub_face_mm)
    spoke = within & (p.along >= 0.7 * design.hub_radius_mm) & _in_spoke(design, p)
    return np.asarray((ring | hub | spoke) & ~_in_holes(design, points_mm, p.radius))


def junction_lengths_mm(design: WheelDesign) -> tuple[float, float]:
    """Return how far the junctions reach along the spoke.

    Parameters
    ----------
    design : WheelDesign
        The wheel [-].

    Returns
    -------
    tuple of float
        Length at the hub and at the rim: the smaller of the spoke's thickness and width there, pockets left out of
        account, and never more than `LARGEST_JUNCTION_SHARE` of the free spoke [mm].
    """
    ends = spoke_curves(design, np.array([design.hub_radius_mm, design.spoke_end_mm]))
    most = LARGEST_JUNCTION_SHARE * (design.spoke_end_mm - design.hub_radius_mm)
    at_hub, at_rim = np.minimum(np.minimum(ends.thickness_mm, 2.0 * ends.half_width_mm), most)
    return float(at_hub), float(at_rim)


def role_at(design: WheelDesign, points_mm: Array) -> NDArray[np.int8]:
    """Return the zone each point belongs to.

    Parameters
    ----------
    design : WheelDesign
        The wheel [-].
    points_mm : array (..., 3)
        Points in the wheel's frame [mm].

    Returns
    -------
    int8 array (...)
        0 in void, else the number of the role as in `castq.geometry.roles.CODE` [-].
    """
    p = _polar(design, points_mm)
    inner = inner_radius_mm(design, p.height)
    at_hub, at_rim = junction_lengths_mm(design)
    code = np.full(p.radius.shape, CODE["spoke"], dtype=np.int8)
    code[p.radius < design.hub_radius_mm + at_hub] = CODE["spoke-hub junction"]
    code[p.radius > inner - at_rim] = CODE["spoke-rim junction"]
    in_hub = p.radius <= design.hub_radius_mm
    code[in_hub] = CODE["hub"]
    seat = design.counterbore_mm / 2.0 + BOLT_SEAT_MARGIN_MM
    code[in_hub & (_from_bolt(design, points_mm) < seat)] = CODE["bolt seat"]
    in_ring = p.radius >= inner
    across = p.across * inner / np.maximum(p.radius, 1.0)
    foot = _Polar(inner, np.sqrt(np.maximum(inner**2 - across**2, 0.0)), across, p.height)
    behind = in_ring & _in_spoke(design, foot, pockets=False)
    lip = np.abs(p.height) > design.foot_height_mm
    code[in_ring & ~behind] = CODE["rim well"]
    raised = in_ring & lip & (~behind | (p.radius > design.foot_radius_mm))
    code[raised & (p.height < 0.0)] = CODE["inboard flange"]
    code[raised & (p.height > 0.0)] = CODE["outboard flange"]
    code[~inside(design, points_mm)] = 0
    return code


def predicted_volume_cm3(design: WheelDesign, spacing_mm: float = 2.0, seed: int = 0) -> float:
    """Return the volume of metal by counting points, without a mesh.

    Parameters
    ----------
    design : WheelDesign
        The wheel [-].
    spacing_mm : float
        Size of the cells that hold one point each, at a random place so that flat walls do no harm [mm].
    seed : int
        Seed of those places [-].

    Returns
    -------
    float
        Volume [cm3].
    """
    rng = np.random.default_rng(seed)
    reach = design.foot_radius_mm + design.flange_height_mm
    counts = np.ceil(2.0 * np.array([reach, reach, design.half_height_mm]) / spacing_mm).astype(int)
    steps = 2.0 * np.array([reach, reach, design.half_height_mm]) / counts
    corner = np.stack(np.meshgrid(np.arange(counts[0]), np.arange(counts[1]), indexing="ij"), axis=-1).reshape(-1, 2)
    corner = corner[np.hypot(*((corner + 0.5) * steps[:2] - reach).T) < reach + 2.0 * spacing_mm]
    metal = 0
    for layer in range(counts[2]):
        cells = np.column_stack([corner, np.full(len(corner), layer)]) + rng.random((len(corner), 3))
        metal += int(np.count_nonzero(inside(design, cells * steps - [reach, reach, design.half_height_mm])))
    return float(metal * steps.prod() / 1000.0)
