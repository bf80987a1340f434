"""What a screening needs to know of each zone: volume, thick end, narrowest way through, middle."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from castq.geometry.roles import BOLT_SEAT_MARGIN_MM, ROLES
from castq.geometry.thickness import LocalSection
from castq.geometry.voxels import Grid
from castq.geometry.zones import ZoneMap

Array = NDArray[np.float64]

THICK_END = 0.9
STATION_MM = 5.0
SMALLEST_STATION_SHARE = 0.3
# These stand on the gate: metal passes through their thick end, not through their narrowest station.
ON_THE_GATE = ("hub", "bolt seat")
ALONG_THE_RIM = ("rim well", "inboard flange", "outboard flange")


@dataclass(frozen=True, slots=True)
class ZoneMeasure:
    """One zone, all its copies round the wheel together.

    Attributes
    ----------
    role : str
        One of `castq.geometry.roles.ROLES`.
    volume_cm3 : float
        Volume [cm3].
    section_p90_mm : float
        Largest inscribed sphere, exceeded by a tenth of the volume [mm].
    wall_p90_mm, wall_median_mm : float
        Equivalent wall, exceeded by a tenth and by half of the volume [mm].
    choke_mm : float
        Equivalent wall of the best channel at the narrowest station on the way through the zone; of the thick end
        where the zone stands on the gate [mm].
    centroid_r_mm, centroid_z_mm : float
        Middle of one copy: distance from the axis, and height [mm].
    distance_mm : dict of role to float
        Distance between the middles of this and each other zone, in the plane through the axis [mm].
    """

    role: str
    volume_cm3: float
    section_p90_mm: float
    wall_p90_mm: float
    wall_median_mm: float
    choke_mm: float
    centroid_r_mm: float
    centroid_z_mm: float
    distance_mm: dict[str, float] = field(default_factory=dict)


def measure_zones(zone_map: ZoneMap, grid: Grid, section: LocalSection) -> tuple[ZoneMeasure, ...]:
    """Return the measures of every zone the wheel has.

    Parameters
    ----------
    zone_map : ZoneMap
        Zone of each voxel [-].
    grid : Grid
        The wheel [mm].
    section : LocalSection
        Section and equivalent wall of each voxel [mm].

    Returns
    -------
    tuple of ZoneMeasure
        In the order of `castq.geometry.roles.ROLES`.
    """
    x, y, z = grid.centres_mm
    radius_map = np.hypot(x[:, None], y[None, :]).ravel()
    flat = np.flatnonzero(zone_map.codes)
    column, layer = np.divmod(flat, grid.shape[2])
    fraction = grid.fraction.ravel()[flat].astype(float)
    radius, height, code = radius_map[column], z[layer], zone_map.codes.ravel()[flat]
    fields = section.section_mm.ravel(), section.wall_mm.ravel()
    measures = []
    for number, role in enumerate(ROLES, start=1):
        own = np.flatnonzero(code == number)
        solid = own[fraction[own] >= 0.5]
        if len(solid) == 0:
            continue
        spheres, walls = (values[flat[solid]].astype(float) for values in fields)
        thick = float(np.quantile(walls, THICK_END))
        way = height[solid] if role in ALONG_THE_RIM else radius[solid]
        measures.append(
            ZoneMeasure(
                role=role,
                volume_cm3=float(fraction[own].sum()) * grid.spacing_mm**3 / 1000.0,
                section_p90_mm=float(np.quantile(spheres, THICK_END)),
                wall_p90_mm=thick,
                wall_median_mm=float(np.median(walls)),
                choke_mm=thick if role in ON_THE_GATE else _choke_mm(way, walls, grid.spacing_mm),
                centroid_r_mm=float(np.average(radius[own], weights=fraction[own])),
                centroid_z_mm=float(np.average(height[own], weights=fraction[own])),
            )
        )
    seat_reach = zone_map.counterbore_radius_mm + BOLT_SEAT_MARGIN_MM
    for one in measures:
        for other in measures:
            if other is not one:
                one.distance_mm[other.role] = _distance_mm(one, other, seat_reach)
    return tuple(measures)


def _choke_mm(way: Array, walls: Array, spacing_mm: float) -> float:
    """Return the least, over stations along the way, of the wall that a tenth of the station exceeds [mm].

    Stations at the ends that the zone only just enters are left out.
    """
    width = max(STATION_MM, 2.0 * spacing_mm)
    station = np.floor((way - way.min()) / width).astype(int)
    counts = np.bincount(station)
    enough = np.flatnonzero(counts >= SMALLEST_STATION_SHARE * np.median(counts[counts > 0]))
    order = np.argsort(station, kind="stable")
    groups = np.split(walls[order], np.cumsum(counts)[:-1])
    return float(min(np.quantile(groups[k], THICK_END) for k in enough))


def _distance_mm(one: ZoneMeasure, other: ZoneMeasure, seat_reach_mm: float) -> float:
    """Return the distance between two zones' middles; a bolt seat has hub all round it, at its own radius at least."""
    apart = float(np.hypot(one.centroid_r_mm - other.centroid_r_mm, one.centroid_z_mm - other.centroid_z_mm))
    return max(apart, seat_reach_mm) if "bolt seat" in (one.role, other.role) else apart
