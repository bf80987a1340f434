"""Zones of risk: connected regions of a field beyond a limit, ranked, each with its cause in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label
from scipy.spatial import cKDTree

from castq.feeding.islands import Island, Islands
from castq.physics.niyama import NIYAMA_WARN

Floats = NDArray[np.float32]
Cells = NDArray[np.int64]
Place = tuple[int, int, int]

# A cause is named when it holds for half of the metal of a region. Common practice, no source.
MOST = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """The casting that the regions lie in.

    Attributes
    ----------
    fraction : float32 array (nx, ny, nz)
        Share of each cell that is metal [-].
    spacing_mm : float
        Edge of a cell [mm].
    codes : int array (nx, ny, nz)
        0 in the void, i + 1 in a cell of the i-th of `names` [-].
    names : sequence of str
        Names of the zones.
    """

    fraction: Floats
    spacing_mm: float
    codes: NDArray[np.integer]
    names: Sequence[str]

    def name(self, place: Place) -> str:
        """Return the name of the zone at a cell; empty in the void."""
        code = int(self.codes[place])
        return self.names[code - 1] if code > 0 else ""


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """What a cause is read from; what is not known is left out.

    Attributes
    ----------
    islands : Islands, optional
        Pools that are cut off.
    niyama : float32 array (nx, ny, nz), optional
        Niyama value along the way to the feeder [(K s)^0.5/mm].
    gas_pct, shrinkage_pct : float32 array (nx, ny, nz), optional
        Gas and shrinkage porosity [%].
    """

    islands: Islands | None = None
    niyama: Floats | None = None
    gas_pct: Floats | None = None
    shrinkage_pct: Floats | None = None


@dataclass(frozen=True, slots=True)
class RiskRegion:
    """One connected region beyond the limit.

    Attributes
    ----------
    volume_mm3 : float
        Its metal [mm3].
    zone : str
        Zone of the part that holds most of it.
    zone_share : float
        Share of it that lies there [-].
    worst : float
        Value farthest beyond the limit, in the unit of the field.
    mean : float
        Mean over its metal, in the unit of the field.
    worst_place : tuple of int
        Cell of the worst value, along x, y and z [-].
    middle : tuple of float
        Middle of its metal, in cells from the middle of the first cell of the grid [-].
    depth_mm : float
        Least distance of a cell's middle from the void, to half a cell [mm].
    cause : str
        Cause in words.
    """

    volume_mm3: float
    zone: str
    zone_share: float
    worst: float
    mean: float
    worst_place: Place
    middle: tuple[float, float, float]
    depth_mm: float
    cause: str


def risk_regions(
    field: Floats,
    limit: float,
    part: Part,
    *,
    above: bool = True,
    evidence: Evidence | None = None,
    weight_by_zone: Mapping[str, float] | None = None,
    least_mm3: float = 100.0,
) -> tuple[RiskRegion, ...]:
    """Return the connected regions beyond a limit, first what weighs most.

    Parameters
    ----------
    field : float32 array (nx, ny, nz)
        Any result; NaN where unknown.
    limit : float
        Limit, in the unit of the field.
    part : Part
        The casting.
    above : bool
        True when values above the limit are a risk, False when those below it are.
    evidence : Evidence, optional
        What the causes are read from.
    weight_by_zone : mapping of zone to float, optional
        Factor on volume in the ranking [-]; 1 when not given.
    least_mm3 : float
        Smaller regions are left out [mm3].

    Returns
    -------
    tuple of RiskRegion
        Ranked by volume times weight; of equals the one nearer to the surface first.
    """
    beyond = ((field > limit) if above else (field < limit)) & (part.fraction > 0.0)
    groups = _groups(beyond, part, least_mm3)
    given, weights = evidence or Evidence(), weight_by_zone or {}
    found = [
        _region(field, cells, depth, part, given, above=above)
        for cells, depth in zip(groups, _depths_mm(groups, part), strict=True)
    ]
    return tuple(sorted(found, key=lambda r: (-r.volume_mm3 * weights.get(r.zone, 1.0), r.depth_mm, r.worst_place)))


def _groups(beyond: NDArray[np.bool_], part: Part, least_mm3: float) -> list[Cells]:
    """Return the connected groups of cells, each by its places in the grid read row by row."""
    numbers, count = label(beyond)
    flat = np.flatnonzero(numbers)
    number = numbers.ravel()[flat]
    order = np.argsort(number, kind="stable")
    groups = np.split(flat[order], np.cumsum(np.bincount(number, minlength=count + 1)[1:-1]))
    least = least_mm3 / part.spacing_mm**3
    return [cells for cells in groups if cells.size and part.fraction.ravel()[cells].sum() >= least]


def _depths_mm(groups: Sequence[Cells], part: Part) -> list[float]:
    """Return for each group the least distance of a cell from the void [mm]."""
    if not groups:
        return []
    metal = np.pad(part.fraction >= 0.5, 1)
    skin = np.zeros_like(metal)
    for axis in range(3):
        here, there = np.moveaxis(skin, axis, 0), np.moveaxis(metal, axis, 0)
        here[1:] |= there[:-1]
        here[:-1] |= there[1:]
    tree = cKDTree(np.argwhere(skin & ~metal) - 1)
    shape = part.fraction.shape
    apart = [np.min(tree.query(np.column_stack(np.unravel_index(cells, shape)))[0]) for cells in groups]
    return [max(float(distance) - 0.5, 0.0) * part.spacing_mm for distance in apart]


def _region(field: Floats, cells: Cells, depth_mm: float, part: Part, given: Evidence, *, above: bool) -> RiskRegion:
    """Return one region as a record."""
    values = field.ravel()[cells].astype(float)
    metal = part.fraction.ravel()[cells].astype(float)
    places = np.column_stack(np.unravel_index(cells, field.shape))
    by_code = np.bincount(part.codes.ravel()[cells], weights=metal, minlength=len(part.names) + 1)[1:]
    main = int(np.argmax(by_code))
    worst = int(np.argmax(values if above else -values))
    i, j, k = places[worst].tolist()
    x, y, z = np.average(places, axis=0, weights=metal).tolist()
    return RiskRegion(
        volume_mm3=float(metal.sum()) * part.spacing_mm**3,
        zone=part.names[main],
        zone_share=float(by_code[main] / metal.sum()),
        worst=float(values[worst]),
        mean=float(np.average(values, weights=metal)),
        worst_place=(i, j, k),
        middle=(x, y, z),
        depth_mm=depth_mm,
        cause=cause_of(cells, part, given),
    )


def cause_of(cells: Cells, part: Part, evidence: Evidence) -> str:
    """Return in words why a region is at risk.

    Parameters
    ----------
    cells : int64 array (n,)
        Its cells, by their places in the grid read row by row [-].
    part : Part
        The casting.
    evidence : Evidence
        What is known.

    Returns
    -------
    str
        One phrase; several joined by "and", the one that leaves the most pores first.
    """
    metal = part.fraction.ravel()[cells].astype(float)
    found = [_island_words(cells, metal, part, evidence.islands)]
    if not found[0] and evidence.niyama is not None:
        niyama = evidence.niyama.ravel()[cells]
        if float(metal[niyama < NIYAMA_WARN].sum()) >= MOST * metal.sum():
            found = ["flat gradient on the way to the feeder"]
    gas, shrinkage = _mean(evidence.gas_pct, cells, metal), _mean(evidence.shrinkage_pct, cells, metal)
    if gas > shrinkage:
        found = ["gas", *found]
    words = [word for word in found if word]
    return " and ".join(words) if words else "no single cause"


def _mean(field: Floats | None, cells: Cells, metal: NDArray[np.float64]) -> float:
    """Return the mean of a field over cells where it is known; 0 where it is not."""
    if field is None:
        return 0.0
    values = field.ravel()[cells].astype(float)
    known = ~np.isnan(values)
    return float(np.average(values[known], weights=metal[known])) if known.any() else 0.0


def _island_words(cells: Cells, metal: NDArray[np.float64], part: Part, islands: Islands | None) -> str:
    """Return which island holds most of the region, when it was cut off and by what; empty when none does."""
    if islands is None:
        return ""
    number = islands.root.ravel()[cells]
    held = np.bincount(number + 1, weights=metal)
    held[0] = 0.0
    if held.sum() < MOST * metal.sum():
        return ""
    return island_words(islands.each[int(np.argmax(held)) - 1], part)


def island_words(island: Island, part: Part) -> str:
    """Return in words how an island came about.

    Parameters
    ----------
    island : Island
        A pool that is cut off.
    part : Part
        The casting.

    Returns
    -------
    str
        For example "island cut off at 41 s by the spoke".
    """
    if island.choke_place is None:
        return "island without any way to the feeder"
    name = part.name(island.choke_place)
    return f"island cut off at {island.cut_s:.0f} s" + (f" by the {name}" if name else "")
