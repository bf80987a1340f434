"""Pools and zones of risk of the solved field as rows of a report, each with its cause in words."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from castq.feeding.regions import Evidence, Part, RiskRegion, risk_regions
from castq.geometry.roles import CODE, ROLES
from castq.geometry.voxels import Grid
from castq.screening.columns import BY_NAME
from castq.screening.shape import WheelShape
from castq.screening.solid_feed import Feeding
from castq.screening.solid_fields import elongation_lost
from castq.screening.solid_records import IslandRow, Point, RegionRow
from castq.screening.types import Case
from castq.thermal.solid import SolidTimes

Floats = NDArray[np.float32]

# A place that closes later than its way by this much is at risk even where its porosity is not.
LEAST_MARGIN = 0.95
LEAST_MM3 = 500.0
# Pores this near to the surface may be opened by machining: such a place counts double. Common practice, no source.
ALLOWANCE_MM = 3.0
NEAR_SURFACE = 2.0


def part_of(shape: WheelShape) -> Part:
    """Return the casting as the feeding engine takes it."""
    return Part(shape.grid.fraction, shape.grid.spacing_mm, shape.zones.codes, ROLES)


def island_rows(shape: WheelShape, feeding: Feeding) -> tuple[IslandRow, ...]:
    """Return the pools that are cut off from the feeder, the largest lack first.

    Parameters
    ----------
    shape : WheelShape
        The measured shape.
    feeding : Feeding
        How it is fed.

    Returns
    -------
    tuple of IslandRow
        One a pool that parts from the feeder itself.
    """
    part, islands = part_of(shape), feeding.islands
    rows = []
    for number, island in enumerate(islands.each):
        if island.parent >= 0:
            continue
        inside = islands.root == number
        held = np.bincount(part.codes[inside], weights=part.fraction[inside], minlength=len(ROLES) + 1)[1:]
        zone = ROLES[int(np.argmax(held))]
        choke = "" if island.choke_place is None else part.name(island.choke_place)
        by = f"cut off at {island.cut_s:.0f} s by the {choke}" if choke else "without any way to the feeder"
        volume, lack = 1e-3 * island.volume_mm3, 1e-3 * island.shrinkage_mm3
        words = (
            f"{zone}: a pool of {volume:.1f} cm3 {by}, the last of it freezes at {island.last_s:.0f} s; it lacks "
            f"{lack:.2f} cm3 of metal"
        )
        centre = _place_mm(shape.grid, island.last_place)
        rows.append(IslandRow(centre, zone, choke, island.cut_s, island.last_s, volume, lack, words))
    return tuple(rows)


def region_rows(
    case: Case, shape: WheelShape, times: SolidTimes, feeding: Feeding, fields: Mapping[str, Floats]
) -> tuple[RegionRow, ...]:
    """Return the zones of risk, the heaviest first.

    Parameters
    ----------
    case : Case
        The design, with the limits on porosity.
    shape : WheelShape
        Its measured shape.
    times : SolidTimes
        The solved field [s].
    feeding : Feeding
        How it is fed.
    fields : mapping of str to float32 array (nx, ny, nz)
        The chain on the voxels.

    Returns
    -------
    tuple of RegionRow
        Regions above the porosity limit of their zone, then what closes late elsewhere; ranked by volume times
        elongation lost, double near the surface.
    """
    part = part_of(shape)
    limits = _porosity_limits(case)
    excess = fields["porosity_pct"] / limits[shape.zones.codes]
    porous = excess > 1.0
    late = np.where(porous, np.float32(np.nan), fields["feeding_margin"])
    evidence = Evidence(feeding.islands, fields["niyama"], fields["gas_porosity_pct"], fields["shrinkage_porosity_pct"])
    above = risk_regions(excess, 1.0, part, evidence=evidence, least_mm3=LEAST_MM3)
    behind = risk_regions(late, LEAST_MARGIN, part, above=False, evidence=evidence, least_mm3=LEAST_MM3)
    found = [*((region, "porosity_pct") for region in above), *((region, "feeding_margin") for region in behind)]
    lost = _lost_at(case, times, feeding, [region for region, _ in found])
    rows = [_row(shape, limits, *one, value) for one, value in zip(found, lost, strict=True)]
    return tuple(sorted(rows, key=_weight, reverse=True))


def _weight(row: RegionRow) -> float:
    """Return how much a region weighs: volume times elongation lost, double near the surface."""
    return row.volume_cm3 * row.elongation_lost_pct * (NEAR_SURFACE if row.depth_mm < ALLOWANCE_MM else 1.0)


def _row(shape: WheelShape, limits: NDArray[np.float32], region: RiskRegion, name: str, lost_pct: float) -> RegionRow:
    """Return a region as a row, in the unit of its column."""
    limit, worst = LEAST_MARGIN, region.worst
    if name == "porosity_pct":
        # A region may lie across zones: the limit is that of its main zone, unless only another one's is passed.
        at_worst, main = limits[shape.zones.codes[region.worst_place]], limits[CODE[region.zone]]
        worst = region.worst * float(at_worst)
        limit = float(main if main < worst else at_worst)
    return RegionRow(
        centre_mm=_place_mm(shape.grid, region.middle),
        zone=region.zone,
        volume_cm3=1e-3 * region.volume_mm3,
        quantity=name,
        limit=limit,
        worst=worst,
        unit=BY_NAME[name].unit,
        depth_mm=region.depth_mm,
        elongation_lost_pct=lost_pct,
        cause=region.cause,
    )


def _lost_at(case: Case, times: SolidTimes, feeding: Feeding, regions: list[RiskRegion]) -> list[float]:
    """Return the elongation lost at the worst place of each region [% elongation]."""
    if not regions:
        return []
    cells = np.array([feeding.paths.flood.number(region.worst_place) for region in regions], dtype=np.int64)
    return [float(value) for value in elongation_lost(case, times, feeding, cells)]


def _porosity_limits(case: Case) -> NDArray[np.float32]:
    """Return the porosity limit of each zone code, infinite where there is none [%]."""
    limits = np.full(len(ROLES) + 1, np.inf, dtype=np.float32)
    for limit in case.limits:
        if limit.quantity == "porosity_pct" and limit.operator == "<=":
            limits[CODE[limit.role]] = min(limits[CODE[limit.role]], np.float32(limit.value))
    return limits


def _place_mm(grid: Grid, place: tuple[float, float, float]) -> Point:
    """Return where a place given in cells lies on the wheel [mm]."""
    x, y, z = (grid.origin_mm + grid.spacing_mm * (np.array(place, dtype=float) + 0.5)).tolist()
    return x, y, z
