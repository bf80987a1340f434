"""The drawing of an invented cast wheel: its measures, the curves they give, and what makes it impossible.

The wheel axis is z and the outboard face looks to +z; the rim's mid plane is z = 0.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.errors import Fault, InputError

Array = NDArray[np.float64]

SEAT_SLOPE = np.tan(np.radians(5.0))  # the bead seat rises by 5 degrees toward its flange
FOOT_MM = 2.0  # fillet between bead seat and flange
FACE_STEP_MM = 1.0  # the spoke face lies this far behind the hub face
POCKET_DRAFT = np.tan(np.radians(6.0))
POCKET_RAMP_MM = 10.0
SMALLEST_FLOOR_MM = 4.0
SMALLEST_GAP_MM = 5.0

# Outline of a spoke's section: share of its depth behind the face, share of its half width.
SECTION_DEPTH = np.array([0.0, 0.02, 0.06, 0.13, 0.25, 0.80, 0.95, 1.0])
SECTION_WIDTH = np.array([0.66, 0.78, 0.88, 0.95, 1.0, 1.0, 0.96, 0.88])


def _smooth(share: ArrayLike) -> Array:
    """Return 0 to 1 with level ends for `share` going from 0 to 1 [-]."""
    u = np.clip(np.asarray(share, dtype=float), 0.0, 1.0)
    return u * u * (3.0 - 2.0 * u)


@dataclass(frozen=True, slots=True)
class WheelDesign:
    """Measures of an invented wheel, all in millimetres unless counted.

    Attributes
    ----------
    name : str
        What the design is called.
    bead_seat_diameter_mm, rim_width_mm : float
        Diameter at the foot of the flange, and width between the flanges [mm].
    rim_thickness_mm, seat_thickness_mm : float
        Wall of the barrel, and of the bead seat [mm].
    flange_height_mm, flange_width_mm, bead_seat_mm : float
        Lip above the bead seat, its axial width, and axial width of the bead seat [mm].
    well_depth_mm, well_width_mm, well_offset_mm : float
        Drop well below the bead seat, width of its floor, and how far outboard of the mid plane it sits [mm].
    hub_radius_mm, hub_height_mm, hub_offset_mm, bore_diameter_mm : float
        Hub, height of its mounting face above the mid plane, and centre bore [mm].
    bolts : int
        Number of bolts.
    bolt_circle_mm, bolt_hole_mm, counterbore_mm, counterbore_depth_mm : float
        Diameters of the bolt circle, hole and counterbore, and depth of the counterbore from the face [mm].
    spokes : int
        Number of spokes, or of pairs of spokes when `twin`.
    twin, twin_gap_mm : bool, float
        Whether spokes come in parallel pairs, and the clear gap within a pair [mm].
    spoke_width_hub_mm, spoke_width_rim_mm, spoke_thickness_hub_mm, spoke_thickness_rim_mm : float
        Section of a spoke at its ends, before the roots are added [mm].
    dish_mm : float
        How far the spoke's face rises outboard from hub to rim [mm]; 0 is a flat face.
    hub_root_mm, rim_root_mm, root_length_mm : float
        Extra width and thickness where the spoke meets hub and rim, and the length over which it fades [mm].
    pocket_depth_mm, pocket_wall_mm, pocket_from_hub_mm, pocket_from_rim_mm : float
        Back pocket at the thickest station (0 for none), side wall left beside it, and where it ends [mm].
    valve_hole_mm : float
        Diameter of the valve hole [mm]; 0 for none.
    segments : int
        Number of flats that stand for a full circle.
    """

    name: str = "wheel"
    bead_seat_diameter_mm: float = 462.0
    rim_width_mm: float = 203.2
    rim_thickness_mm: float = 6.0
    seat_thickness_mm: float = 7.0
    flange_height_mm: float = 17.3
    flange_width_mm: float = 9.5
    bead_seat_mm: float = 22.0
    well_depth_mm: float = 19.0
    well_width_mm: float = 40.0
    well_offset_mm: float = 24.0
    hub_radius_mm: float = 76.0
    hub_height_mm: float = 44.0
    hub_offset_mm: float = 40.0
    bore_diameter_mm: float = 66.0
    bolts: int = 5
    bolt_circle_mm: float = 112.0
    bolt_hole_mm: float = 15.0
    counterbore_mm: float = 28.0
    counterbore_depth_mm: float = 24.0
    spokes: int = 5
    twin: bool = False
    twin_gap_mm: float = 16.0
    spoke_width_hub_mm: float = 50.0
    spoke_width_rim_mm: float = 40.0
    spoke_thickness_hub_mm: float = 34.0
    spoke_thickness_rim_mm: float = 22.0
    dish_mm: float = 20.0
    hub_root_mm: float = 4.0
    rim_root_mm: float = 4.0
    root_length_mm: float = 35.0
    pocket_depth_mm: float = 14.0
    pocket_wall_mm: float = 8.0
    pocket_from_hub_mm: float = 18.0
    pocket_from_rim_mm: float = 22.0
    valve_hole_mm: float = 11.3
    segments: int = 192

    @property
    def half_width_mm(self) -> float:
        """Height of a flange's inner face above the mid plane [mm]."""
        return self.rim_width_mm / 2.0

    @property
    def half_height_mm(self) -> float:
        """Height of the rim's edge above the mid plane [mm]."""
        return self.half_width_mm + self.flange_width_mm

    @property
    def foot_height_mm(self) -> float:
        """Height of the flange's foot on the bead seat above the mid plane [mm]."""
        return self.half_width_mm - FOOT_MM

    @property
    def foot_radius_mm(self) -> float:
        """Radius of the flange's foot [mm]."""
        return self.bead_seat_diameter_mm / 2.0

    @property
    def hub_face_mm(self) -> float:
        """Height of the hub's outboard face above the mid plane [mm]."""
        return self.hub_offset_mm + self.hub_height_mm

    @property
    def spoke_end_mm(self) -> float:
        """Radius at which the spoke meets the rim, at mid height of its end [mm]."""
        face = self.hub_face_mm - FACE_STEP_MM + self.dish_mm
        height = face - 0.5 * (self.spoke_thickness_rim_mm + self.rim_root_mm)
        return float(inner_radius_mm(self, height))

    @property
    def members(self) -> int:
        """Number of single spokes."""
        return self.spokes * (2 if self.twin else 1)

    @property
    def member_offset_mm(self) -> float:
        """Distance of a spoke's middle line from the radial line it is drawn on [mm]."""
        width = max(self.spoke_width_hub_mm + self.hub_root_mm, self.spoke_width_rim_mm + self.rim_root_mm)
        return 0.5 * (self.twin_gap_mm + width) if self.twin else 0.0

    @property
    def valve_height_mm(self) -> float:
        """Height of the valve hole above the mid plane [mm]."""
        return self.half_width_mm - self.bead_seat_mm - 0.5 * self.valve_hole_mm - 2.0

    def validate(self) -> None:
        """Raise `InputError` with every reason why the wheel cannot be made."""
        faults = [
            Fault(f"wheel design {self.name}", place, found, expected, "change the design")
            for wrong, place, found, expected in _findings(self)
            if wrong
        ]
        if faults:
            raise InputError(faults)


def rim_outline(design: WheelDesign) -> tuple[Array, Array]:
    """Return the rim's outer and inner outline.

    Parameters
    ----------
    design : WheelDesign
        The wheel [-].

    Returns
    -------
    tuple of array (n, 2)
        Height and radius along the outer and along the inner outline, from inboard to outboard [mm].
    """
    foot, lip, width = design.foot_radius_mm, design.flange_height_mm, design.flange_width_mm
    half, seat = design.half_width_mm, design.bead_seat_mm
    edge = foot - SEAT_SLOPE * (seat - FOOT_MM)
    flange_z = half + width * np.array([1.0, 0.9, 0.75, 0.5, 0.25, 0.1, 0.0])
    flange_r = foot + lip - width * np.array([0.32, 0.12, 0.02, 0.0, 0.02, 0.12, 0.32])
    flange_r[-1] = foot + 0.3 * lip
    flange = np.column_stack([flange_z, flange_r])
    well_in, well_out = (design.well_offset_mm + side * design.well_width_mm / 2.0 for side in (-1.0, 1.0))
    run = 1.3 * design.well_depth_mm
    barrel = np.array(
        [
            [-half + FOOT_MM, foot],
            [-half + seat, edge],
            [well_in - run, edge - 3.0],
            [well_in, foot - design.well_depth_mm],
            [well_out, foot - design.well_depth_mm],
            [min(well_out + run, half - seat - 1.0), edge - 0.5],
            [half - seat, edge],
            [half - FOOT_MM, foot],
        ]
    )
    thickness = np.full(len(barrel), design.rim_thickness_mm)
    thickness[[0, -1]] = design.seat_thickness_mm
    inner = _offset(barrel, thickness)
    bottom = foot - design.seat_thickness_mm
    top = design.half_height_mm
    inner[[0, -1]] = [[-half + FOOT_MM, bottom], [half - FOOT_MM, bottom]]
    ends = np.array([[top, bottom + 1.5], [top - 2.0, bottom]])
    mirror = np.array([-1.0, 1.0])
    outer = np.vstack([flange * mirror, barrel, flange[::-1]])
    return outer, np.vstack([ends * mirror, inner, ends[::-1]])


def _offset(line: Array, thickness: Array) -> Array:
    """Return the outline moved inward by `thickness` [mm], measured square to it."""
    step = np.diff(line, axis=0)
    normal = np.column_stack([step[:, 1], -step[:, 0]]) / np.linalg.norm(step, axis=1)[:, None]
    before, after = np.vstack([normal[:1], normal]), np.vstack([normal, normal[-1:]])
    middle = (before + after) / (1.0 + np.sum(before * after, axis=1))[:, None]
    return line + middle * thickness[:, None]


def outer_radius_mm(design: WheelDesign, height_mm: ArrayLike) -> Array:
    """Return the rim's outer radius [mm] at a height [mm] of the `design` [-]."""
    outer, _ = rim_outline(design)
    return np.asarray(np.interp(np.asarray(height_mm, dtype=float), outer[:, 0], outer[:, 1]))


def inner_radius_mm(design: WheelDesign, height_mm: ArrayLike) -> Array:
    """Return the rim's inner radius [mm] at a height [mm] of the `design` [-]."""
    _, inner = rim_outline(design)
    return np.asarray(np.interp(np.asarray(height_mm, dtype=float), inner[:, 0], inner[:, 1]))


@dataclass(frozen=True, slots=True, eq=False)
class SpokeCurves:
    """A spoke and its back pocket at stations along it: heights and half widths, each array in millimetres.

    Attributes
    ----------
    face_mm, thickness_mm, half_width_mm : array
        Height of the face, depth behind it, half width [mm].
    pocket_mm, pocket_half_width_mm : array
        Depth of the pocket from the back and half width at the back [mm]; no pocket where the depth is negative.
    """

    face_mm: Array
    thickness_mm: Array
    half_width_mm: Array
    pocket_mm: Array
    pocket_half_width_mm: Array


def spoke_curves(design: WheelDesign, along_mm: ArrayLike) -> SpokeCurves:
    """Return the spoke's section at stations.

    Parameters
    ----------
    design : WheelDesign
        The wheel [-].
    along_mm : array_like
        Distance from the wheel axis along the spoke [mm].

    Returns
    -------
    SpokeCurves
        The section at each station [mm].
    """
    x = np.asarray(along_mm, dtype=float)
    start, end = design.hub_radius_mm, design.spoke_end_mm
    share = np.clip((x - start) / (end - start), 0.0, 1.0)
    root = design.hub_root_mm * _smooth(1.0 - (x - start) / design.root_length_mm)
    root = root + design.rim_root_mm * _smooth(1.0 - (end - x) / design.root_length_mm)
    thickness = design.spoke_thickness_hub_mm * (1.0 - share) + design.spoke_thickness_rim_mm * share + root
    width = design.spoke_width_hub_mm * (1.0 - share) + design.spoke_width_rim_mm * share + root
    face = design.hub_face_mm - FACE_STEP_MM + design.dish_mm * share**1.5
    largest = max(
        design.spoke_thickness_hub_mm + design.hub_root_mm, design.spoke_thickness_rim_mm + design.rim_root_mm
    )
    first, last = start + design.pocket_from_hub_mm, end - design.pocket_from_rim_mm
    ramps = _smooth((x - first) / POCKET_RAMP_MM) * _smooth((last - x) / POCKET_RAMP_MM)
    pocket = design.pocket_depth_mm * thickness / largest * ramps - 0.5
    return SpokeCurves(face, thickness, width / 2.0, pocket, width / 2.0 - design.pocket_wall_mm)


def _findings(design: WheelDesign) -> Iterator[tuple[bool, str, str, str]]:
    """Yield (is wrong, place, what is found, what is expected) for every rule a wheel must obey."""
    yield from _finding_of_sizes(design)
    if all(not wrong for wrong, *_ in _finding_of_sizes(design)):
        yield from _finding_of_rim_and_hub(design)
        yield from _finding_of_spokes(design)


def _finding_of_sizes(design: WheelDesign) -> Iterator[tuple[bool, str, str, str]]:
    may_be_nought = {
        "dish_mm",
        "hub_root_mm",
        "rim_root_mm",
        "pocket_depth_mm",
        "valve_hole_mm",
        "pocket_wall_mm",
        "pocket_from_hub_mm",
        "pocket_from_rim_mm",
        "twin_gap_mm",
    }
    for name in design.__dataclass_fields__:
        value = getattr(design, name)
        if not name.endswith("_mm") or name in ("hub_offset_mm", "well_offset_mm"):
            continue
        low = value < 0.0 if name in may_be_nought else value <= 0.0
        yield bool(low or not np.isfinite(value)), name, f"{value:g} mm", "a positive length"
    yield not 3 <= design.spokes <= 24, "spokes", str(design.spokes), "3 to 24"
    yield not 3 <= design.bolts <= 10, "bolts", str(design.bolts), "3 to 10"
    yield design.segments < 48, "segments", str(design.segments), "48 or more"


def _finding_of_rim_and_hub(design: WheelDesign) -> Iterator[tuple[bool, str, str, str]]:
    bolt, seat = design.bolt_circle_mm / 2.0, design.counterbore_mm / 2.0
    bore, hub = design.bore_diameter_mm / 2.0, design.hub_radius_mm
    run, half = 1.3 * design.well_depth_mm, design.half_width_mm - design.bead_seat_mm
    low, high = (design.well_offset_mm + side * design.well_width_mm / 2.0 for side in (-1.0, 1.0))
    yield design.bolt_hole_mm >= design.counterbore_mm, "bolt_hole_mm", "not smaller than the counterbore", "a seat"
    yield bolt + seat > hub - 3.0, "bolt_circle_mm", "counterbores break out of the hub", f"within {hub - 3.0:g} mm"
    yield bolt - seat < bore + 3.0, "bolt_circle_mm", "counterbores break into the bore", f"beyond {bore + 3.0:g} mm"
    chord = 2.0 * bolt * np.sin(np.pi / design.bolts)
    yield chord < 2.0 * seat + 3.0, "bolts", "counterbores overlap", "fewer bolts or a larger circle"
    deep = design.counterbore_depth_mm > design.hub_height_mm - 5.0
    yield deep, "counterbore_depth_mm", "no seat is left under the bolt", "5 mm or more"
    yield low - run < -half or high + 0.6 * run > half, "well_width_mm", "the drop well runs into a bead seat", "room"
    yield design.well_depth_mm < 5.0, "well_depth_mm", f"{design.well_depth_mm:g} mm", "5 mm or more"
    yield design.hub_offset_mm < -design.half_height_mm, "hub_offset_mm", "hub below the rim", "a hub inside the rim"
    yield hub > design.spoke_end_mm - 30.0, "hub_radius_mm", "hub fills the rim", "30 mm of spoke or more"


def _finding_of_spokes(design: WheelDesign) -> Iterator[tuple[bool, str, str, str]]:
    x = np.linspace(design.hub_radius_mm, design.spoke_end_mm, 60)
    curve = spoke_curves(design, x)
    side = design.member_offset_mm + curve.half_width_mm
    room = x * np.sin(np.pi / design.spokes) - side * np.cos(np.pi / design.spokes)
    yield bool(room[0] < SMALLEST_GAP_MM / 2), "spoke_width_hub_mm", "spokes overlap at the hub", "fewer or slimmer"
    yield bool(room.min() < SMALLEST_GAP_MM / 2), "spoke_width_rim_mm", "spokes overlap", "fewer or slimmer"
    tight = design.twin and design.twin_gap_mm < SMALLEST_GAP_MM
    yield tight, "twin_gap_mm", f"{design.twin_gap_mm:g} mm", f"{SMALLEST_GAP_MM:g} mm or more"
    floor = float((curve.thickness_mm - curve.pocket_mm).min())
    yield floor < SMALLEST_FLOOR_MM, "pocket_depth_mm", f"pocket leaves {floor:.1f} mm of spoke", "4 mm or more"
    if design.pocket_depth_mm > 0.0:
        yield from _finding_of_pocket(design, curve)
    thick = float(curve.thickness_mm[0]) > design.hub_height_mm - 2.0 * FACE_STEP_MM
    yield thick, "spoke_thickness_hub_mm", "spoke thicker than the hub is high", "a thinner spoke or a higher hub"
    high = float(curve.face_mm[-1]) > design.half_height_mm - 2.0
    yield high, "dish_mm", "the face stands in front of the rim", f"below {design.half_height_mm - 2.0:g} mm"
    low = float((curve.face_mm - curve.thickness_mm).min()) < -design.half_height_mm + 2.0
    yield low, "hub_offset_mm", "the spoke ends below the rim", "a spoke that meets the rim"
    wide = 2.0 * side[0] > 1.6 * design.hub_radius_mm
    yield bool(wide), "spoke_width_hub_mm", "spoke wider than the hub can take", "a slimmer spoke"
    valve = bool(design.valve_hole_mm > 0.0 and room[-1] < design.valve_hole_mm)
    yield valve, "valve_hole_mm", "the valve hole runs into a spoke", "a smaller hole or none"


def _finding_of_pocket(design: WheelDesign, curve: SpokeCurves) -> Iterator[tuple[bool, str, str, str]]:
    length = design.spoke_end_mm - design.hub_radius_mm - design.pocket_from_hub_mm - design.pocket_from_rim_mm
    yield length < 3.0 * POCKET_RAMP_MM, "pocket_from_hub_mm", f"{length:.0f} mm of pocket", "30 mm or more, or none"
    top = float((curve.pocket_half_width_mm - POCKET_DRAFT * np.maximum(curve.pocket_mm, 0.0)).min())
    yield top < 1.5, "pocket_wall_mm", f"the pocket's floor is {2 * top:.1f} mm wide", "3 mm or more, or no pocket"
    yield design.pocket_wall_mm < 3.0, "pocket_wall_mm", f"{design.pocket_wall_mm:g} mm", "3 mm or more"
