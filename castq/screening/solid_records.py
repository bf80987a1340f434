"""What solid depth hands on: time anchors of the zones, pools, zones of risk, grid study, and a summary to print."""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, degrees, hypot

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Point = tuple[float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class ZoneAnchors:
    """What the chain takes from the solved field, one row a zone in the order of the case's sections.

    Attributes
    ----------
    local_solidification_time_s, solid_time_s, cutoff_time_s : array (zones,)
        Time that nine tenths of the zone's metal stay within [s].
    feeding_margin : array (zones,)
        Margin that nine tenths of the zone's metal exceed [-]; infinite where the zone stands on the feeder.
    niyama : array (zones,)
        Niyama value along the way that nine tenths of the fed metal exceed [(K s)^0.5/mm]; NaN where none is known.
    nodes : array (nodes,)
        Margins at which the next two are given [-].
    cut_share : array (zones, nodes)
        Share of the zone's metal with a margin below each node [-]; at 1, the share in pools that are cut off.
    reach : array (zones, nodes)
        Mean of the margin, each at most the node [-]; at 1, the share of its freezing during which pressure reaches it.
    """

    local_solidification_time_s: Array
    solid_time_s: Array
    cutoff_time_s: Array
    feeding_margin: Array
    niyama: Array
    nodes: Array
    cut_share: Array
    reach: Array


@dataclass(frozen=True, slots=True)
class _Placed:
    """Something at a place on the wheel, its axis along z."""

    centre_mm: Point

    @property
    def radius_mm(self) -> float:
        """Distance from the axis [mm]."""
        return hypot(self.centre_mm[0], self.centre_mm[1])

    @property
    def height_mm(self) -> float:
        """Height along the axis, 0 half way along the wheel [mm]."""
        return self.centre_mm[2]

    @property
    def angle_deg(self) -> float:
        """Angle around the axis, 0 to 360 [deg]."""
        return degrees(atan2(self.centre_mm[1], self.centre_mm[0])) % 360.0


@dataclass(frozen=True, slots=True)
class IslandRow(_Placed):
    """A pool that is cut off from the feeder; its centre is the place that freezes last.

    Attributes
    ----------
    zone : str
        Zone that holds most of it.
    choked_by : str
        Zone of the place that cut it off; empty when metal never had a way.
    cut_s, last_s : float
        When it is cut off, and when its last place stops passing metal [s].
    volume_cm3 : float
        Metal in the places still open when it is cut off [cm3].
    lack_cm3 : float
        What that liquid lacks on freezing [cm3].
    words : str
        One sentence.
    """

    zone: str
    choked_by: str
    cut_s: float
    last_s: float
    volume_cm3: float
    lack_cm3: float
    words: str


@dataclass(frozen=True, slots=True)
class RegionRow(_Placed):
    """A zone of risk: connected metal beyond a limit; its centre is the middle of its metal.

    Attributes
    ----------
    zone : str
        Zone that holds most of it.
    volume_cm3 : float
        Its metal [cm3].
    quantity : str
        Column of the zone table that is beyond the limit.
    limit, worst : float
        Limit that is passed, and the value farthest beyond it, in `unit`.
    unit : str
        Unit of both.
    depth_mm : float
        Least distance from the casting's surface [mm].
    elongation_lost_pct : float
        Elongation that its pores take at its worst place [% elongation].
    cause : str
        Cause in words.
    """

    zone: str
    volume_cm3: float
    quantity: str
    limit: float
    worst: float
    unit: str
    depth_mm: float
    elongation_lost_pct: float
    cause: str


@dataclass(frozen=True, slots=True)
class GridZone:
    """What two voxel sizes say about the local solidification time of one zone.

    Attributes
    ----------
    zone : str
        Zone.
    fine_s, coarse_s : float
        Mean over its metal on each grid [s].
    index : float
        Grid index: estimated error of the fine grid, safety factor included, over its value [-].
    """

    zone: str
    fine_s: float
    coarse_s: float
    index: float


@dataclass(frozen=True, slots=True)
class GridStudy:
    """The same casting solved on two voxel sizes.

    Attributes
    ----------
    fine_mm, coarse_mm : float
        Voxel sizes [mm].
    mean_difference, p95_difference : float
        Difference of the local solidification time at like places, over the fine grid's: mean of its size, and what
        19 of 20 places stay within [-].
    bias : float
        Coarse less fine, mean over all places, over the fine grid's [-].
    order : float
        Order of convergence that is assumed, 0.5 to 2: two grids cannot show one [-].
    safety : float
        Factor of safety on the estimated error [-].
    zones : tuple of GridZone
        One a zone.
    words : str
        What this says, in words.
    """

    fine_mm: float
    coarse_mm: float
    mean_difference: float
    p95_difference: float
    bias: float
    order: float
    safety: float
    zones: tuple[GridZone, ...]
    words: str


@dataclass(frozen=True, slots=True)
class CycleRow:
    """The production cycle that the die's temperatures come from.

    Attributes
    ----------
    length_s : float
        From shot to shot [s].
    shots : int
        Shots that were solved until the die repeats itself [-].
    saved : int
        Shots saved against running the cycle as it comes [-]; 0 when not known.
    change_k : float
        Largest change of the die from the last shot but one to the last [K].
    die_low_c, die_high_c : float
        Coldest and hottest place of the die's face as the shot begins [degC].
    words : str
        One sentence.
    """

    length_s: float
    shots: int
    saved: int
    change_k: float
    die_low_c: float
    die_high_c: float
    words: str


@dataclass(frozen=True, slots=True)
class SolidSummary:
    """What a report prints about the solved field.

    Attributes
    ----------
    voxel_mm : float
        Voxel size [mm].
    sector : str
        What was solved, for example "one tenth, between two mirror planes".
    cells : mapping of str to int
        Cells of casting and die that were solved [-].
    steps : int
        Steps in time [-].
    heat_residual : float
        Heat taken by die and surroundings less heat given by the casting, over the latter [-].
    reheat_k : float
        Largest rise of temperature of any place of the casting within one step [K].
    surface_share, volume_share : float
        Share of the casting's surface and volume that the cells hold [-].
    feeder : str
        What feeds, in words.
    grid_study : GridStudy or None
        The same on a coarser grid, when asked for.
    islands : tuple of IslandRow
        Pools that are cut off, the largest lack first.
    regions : tuple of RegionRow
        Zones of risk, the heaviest first.
    cycle : CycleRow or None
        Production cycle, when the case gives one.
    notes : tuple of str
        What the reader should know.
    """

    voxel_mm: float
    sector: str
    cells: dict[str, int]
    steps: int
    heat_residual: float
    reheat_k: float
    surface_share: float
    volume_share: float
    feeder: str
    grid_study: GridStudy | None
    islands: tuple[IslandRow, ...]
    regions: tuple[RegionRow, ...]
    cycle: CycleRow | None
    notes: tuple[str, ...]
