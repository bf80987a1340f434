"""Values of the parts of a tool with which no casting can be solved are refused before the work starts."""

from __future__ import annotations

from collections.abc import Sequence
from math import dist, isfinite

import numpy as np

from castq.core.errors import InputError, input_error
from castq.materials.types import Alloy
from castq.thermal.tool import Body, Circuit, FeederHead, Gate, Region, Ring, Span, ToolParts, Tube

# Coefficients outside these are a slip of the unit [W/m2K].
COOLING_W_M2K = (1.0, 1e5)
CONTACT_W_M2K = (1.0, 1e6)
COLDEST_C = -200.0
# Sizes outside these are a slip of the unit [mm].
_SIZE_MM = (0.1, 5000.0)
_PLACE_MM = (-5000.0, 5000.0)
# Fewest voxels across the thinnest wall: below that it may fall between cells.
LEAST_ACROSS = 1.5


def check_parts(parts: ToolParts, alloy: Alloy) -> None:
    """Refuse the first part with an impossible value.

    Parameters
    ----------
    parts : ToolParts
        What the die has beside its walls.
    alloy : Alloy
        Casting alloy.

    Raises
    ------
    InputError
        If a coefficient, temperature, time or size is impossible, or a name is given twice.
    """
    hottest = alloy.end_of_freezing_c - 1.0
    for what, named in (("circuit", parts.circuits), ("body", parts.bodies), ("die", parts.die),
                        ("feeder", parts.feeders)):  # fmt: skip
        _check_names(what, [part.name for part in named])
    for circuit in parts.circuits:
        _check_circuit(circuit, hottest)
    for what, bodies in (("body", parts.bodies), ("die", parts.die)):
        for body in bodies:
            _check_body(what, body, hottest)
    for head in parts.feeders:
        _check_head(head)
    if parts.gate is not None:
        _check_gate(parts.gate)


def check_thickness(thinnest_mm: float | None, spacing_mm: float) -> None:
    """Refuse voxels too coarse for the thinnest wall.

    Parameters
    ----------
    thinnest_mm : float or None
        Thinnest wall of the casting; nothing is checked when not given [mm].
    spacing_mm : float
        Edge of a voxel [mm].

    Raises
    ------
    InputError
        If too few cells lie across the wall.
    """
    if thinnest_mm is not None and not thinnest_mm / spacing_mm >= LEAST_ACROSS:
        fits = max(0.1 * int(10.0 * thinnest_mm / 2.0), 0.1)
        raise input_error(
            "voxel size", "", f"voxels of {spacing_mm:g} mm put {thinnest_mm / spacing_mm:.1f} cells across the "
            f"thinnest wall of {thinnest_mm:.1f} mm", f"at least {LEAST_ACROSS:g} cells",
            f"use voxels of {fits:.1f} mm",
        )  # fmt: skip


def _check_names(what: str, names: Sequence[str]) -> None:
    """Refuse a name given twice."""
    for name in names:
        if names.count(name) > 1:
            raise input_error(what, name, f"the name is given to {names.count(name)} of them", "each name once",
                              "rename one")  # fmt: skip


def _check_circuit(circuit: Circuit, hottest: float) -> None:
    """Refuse a circuit with an impossible value."""
    place = ("circuit", circuit.name)
    _check_within(place, "coefficient", circuit.coefficient_w_m2k, COOLING_W_M2K, "W/m2K")
    _check_within(place, "temperature", circuit.temp_c, (COLDEST_C, hottest), "degC")
    last = 0.0
    for start, end in circuit.on_s:
        if not last <= start < end:
            raise input_error(*place, f"it is on from {start:g} to {end:g} s", "times that rise, from 0 s on",
                              "put the times in order")  # fmt: skip
        last = end
    shape = circuit.shape
    if isinstance(shape, Region):
        _check_region(place, shape)
        return
    _check_within(place, "bore", shape.bore_mm, _SIZE_MM, "mm")
    if isinstance(shape, Ring):
        _check_within(place, "radius", shape.radius_mm, _SIZE_MM, "mm")
        _check_within(place, "height", shape.height_mm, _PLACE_MM, "mm")
        return
    ends = (shape.start_mm, shape.end_mm) if isinstance(shape, Tube) else (shape.tip_mm, shape.outside_mm)
    _check_within(place, "length", dist(*ends), _SIZE_MM, "mm")


def _check_body(what: str, body: Body, hottest: float) -> None:
    """Refuse a body with an impossible value."""
    place = (what, body.name)
    if body.start_temp_c is not None:
        _check_within(place, "start temperature", body.start_temp_c, (COLDEST_C, hottest), "degC")
    for name, value in (("contact coefficient", body.contact_w_m2k), ("gap coefficient", body.gap_w_m2k)):
        if value is not None:
            _check_within(place, name, value, CONTACT_W_M2K, "W/m2K")
    if isinstance(body.shape, Region):
        _check_region(place, body.shape)
    elif len(body.shape.faces) == 0 or not np.isfinite(body.shape.vertices).all():
        raise input_error(*place, "its mesh has no facets, or a corner that is not finite", "a closed surface",
                          "export it again")  # fmt: skip


def _check_head(head: FeederHead) -> None:
    """Refuse a feeder head with an impossible value."""
    for axis, value in zip("xyz", head.foot_mm, strict=True):
        _check_within(("feeder", head.name), f"foot {axis}", value, _PLACE_MM, "mm")
    _check_within(("feeder", head.name), "diameter", head.diameter_mm, _SIZE_MM, "mm")
    _check_within(("feeder", head.name), "height", abs(head.height_mm), _SIZE_MM, "mm")


def _check_gate(gate: Gate) -> None:
    """Refuse a gate with an impossible value."""
    _check_within(("gate", ""), "radius", gate.radius_mm, _SIZE_MM, "mm")
    if gate.side not in {-1, 0, 1}:
        raise input_error("gate", "", f"side {gate.side}", "1, -1 or 0", "say which way along the axis it looks")


def _check_region(place: tuple[str, str], region: Region) -> None:
    """Refuse an empty region."""
    for name, (low, high) in (("radii", region.radius_mm), ("heights", region.height_mm)):
        least = 0.0 if name == "radii" else -float("inf")
        if not (least <= low < high and _finite((low, high))):
            raise input_error(*place, f"{name} {low:g} to {high:g} mm", "the smaller first", "put them in order")


def _finite(span: Span) -> bool:
    """Return whether both ends are finite."""
    return all(isfinite(end) for end in span)


def _check_within(place: tuple[str, str], name: str, value: float, limits: tuple[float, float], unit: str) -> None:
    """Refuse a value out of its range."""
    if not limits[0] <= value <= limits[1]:
        raise _out_of_range(place, name, value, limits, unit)


def _out_of_range(
    place: tuple[str, str], name: str, value: float, limits: tuple[float, float], unit: str
) -> InputError:
    """Return the refusal of a value."""
    return input_error(*place, f"{name} {value:g} {unit} is out of range", f"{limits[0]:g} to {limits[1]:g} {unit}",
                       "check the value and its unit")  # fmt: skip
