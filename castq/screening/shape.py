"""From a mesh to the zones of a wheel: axis, voxels, local section, zone map, and one section a zone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from castq.geometry.axis import Axis, find_axis, wheel_likeness
from castq.geometry.mesh import Mesh
from castq.geometry.thickness import LocalSection, local_section
from castq.geometry.voxels import Grid, voxelise
from castq.geometry.zone_measure import ZoneMeasure, measure_zones
from castq.geometry.zones import ZoneBox, ZoneMap, apply_overrides, find_zones
from castq.screening.types import FEEDS_FROM, Section

LEAK_WARN = 0.001


@dataclass(frozen=True, slots=True, eq=False)
class WheelShape:
    """A wheel's shape, measured.

    Attributes
    ----------
    mesh : Mesh
        Surface, wheel axis along z, centred [mm].
    axis : Axis
        Where the axis lay in the file, and the symmetry found.
    grid : Grid
        Voxels with their metal share.
    section : LocalSection
        Local section and equivalent wall of each cell [mm].
    zones : ZoneMap
        Zone code of each cell.
    sections : tuple of Section
        One a zone.
    facts : mapping
        What a report prints about the shape.
    warnings : tuple of str
        What to be careful about.
    """

    mesh: Mesh
    axis: Axis
    grid: Grid
    section: LocalSection
    zones: ZoneMap
    sections: tuple[Section, ...]
    facts: Mapping[str, Any]
    warnings: tuple[str, ...]


def measure_shape(
    mesh: Mesh,
    *,
    voxel_mm: float = 2.0,
    axis: Sequence[float] | None = None,
    outboard: int | None = None,
    overrides: Sequence[ZoneBox] = (),
    source: str = "shape",
) -> WheelShape:
    """Measure a wheel.

    Parameters
    ----------
    mesh : Mesh
        Closed surface [mm].
    voxel_mm : float
        Voxel size [mm].
    axis : sequence of 3 float, optional
        Direction of the wheel axis; found from the shape when not given [-].
    outboard : {1, -1}, optional
        Which way along the axis the outboard face looks; found from the shape when not given [-].
    overrides : sequence of ZoneBox
        Cylinders that the user has named himself.
    source : str
        File name, for error messages.

    Returns
    -------
    WheelShape
        The measured wheel.

    Raises
    ------
    InputError
        If the mesh leaks, is too large for the voxel size, or no wheel zones can be found.
    """
    found = find_axis(mesh, direction=axis)
    turned = mesh.moved(found.rotation, found.centre_mm)
    grid = voxelise(turned, voxel_mm, source=source)
    section = local_section(turned, grid)
    zones = apply_overrides(find_zones(grid, outboard=outboard, source=source), grid, overrides)
    measures = measure_zones(zones, grid, section)
    warnings = (*found.warnings, *wheel_likeness(grid), *_leak_warnings(grid), *section.notes, *zones.warnings)
    facts = _facts(turned, found, grid, section, zones)
    return WheelShape(turned, found, grid, section, zones, sections_of(measures), facts, warnings)


def _leak_warnings(grid: Grid) -> tuple[str, ...]:
    if grid.leak_share <= LEAK_WARN:
        return ()
    return (f"the surface leaks: {100 * grid.leak_share:.2f} % of the voxel columns were closed by a vote",)


def sections_of(measures: Sequence[ZoneMeasure]) -> tuple[Section, ...]:
    """Return the measured zones as sections, each fed by its neighbour toward the hub.

    Parameters
    ----------
    measures : sequence of ZoneMeasure
        One a zone, as measured on the voxels.
    """
    present = {measure.role for measure in measures}
    sections = []
    for measure in measures:
        feeder = FEEDS_FROM[measure.role]
        while feeder != "gate" and feeder not in present:
            feeder = FEEDS_FROM[feeder]
        sections.append(
            Section(
                zone=measure.role,
                role=measure.role,
                section_mm=measure.section_p90_mm,
                wall_mm=measure.wall_p90_mm,
                choke_mm=measure.choke_mm,
                volume_cm3=measure.volume_cm3,
                feeds_from=feeder,
                feed_distance_mm=measure.distance_mm.get(feeder, float("nan")),
                typical_mm=measure.wall_median_mm,
            )
        )
    return tuple(sections)


def _facts(mesh: Mesh, axis: Axis, grid: Grid, section: LocalSection, zones: ZoneMap) -> dict[str, Any]:
    low, high = mesh.bounds
    return {
        "diameter_mm": float(max(high[:2] - low[:2])),
        "width_mm": float(high[2] - low[2]),
        "volume_cm3": mesh.volume_mm3 / 1000.0,
        "voxel_volume_cm3": grid.volume_mm3 / 1000.0,
        "surface_cm2": mesh.area_mm2 / 100.0,
        "voxel_mm": grid.spacing_mm,
        "leak_share": grid.leak_share,
        "thinnest_mm": section.thinnest_mm,
        "spoke_order": axis.spoke_order,
        "order": axis.order,
        "mirror": axis.mirror,
        "outboard": zones.outboard,
    }
