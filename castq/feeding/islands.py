"""Liquid islands: pools that are cut off from the feeder while they still need metal, and what they lack."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from castq.feeding.flood import Flood

Array = NDArray[np.float64]
Ints = NDArray[np.int32]

# Below these a pool is taken for noise of the field. Common practice, no source.
LEAST_SHARE = 0.05
LEAST_MM3 = 500.0

Place = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class Island:
    """One pool that is cut off.

    Attributes
    ----------
    cut_s : float
        When it is cut off [s]; 0 where metal never had a way to the feeder.
    last_s : float
        When its last cell closes [s].
    last_place : tuple of int
        Indices of that cell along x, y and z [-].
    volume_mm3 : float
        Metal in the cells that are still open when it is cut off [mm3].
    liquid_mm3 : float
        Liquid in them then [mm3].
    shrinkage_mm3 : float
        What that liquid lacks on freezing: pores or sinks of this volume remain [mm3].
    choke_place : tuple of int or None
        Cell whose closing cut it off; the first one where several close at once [-].
    toward_place : tuple of int or None
        Cell beyond the choke, in the region through which it was last connected [-].
    parent : int
        Number of the island it parts from, after that was itself cut off; -1 when it parts from the feeder [-].
    """

    cut_s: float
    last_s: float
    last_place: Place
    volume_mm3: float
    liquid_mm3: float
    shrinkage_mm3: float
    choke_place: Place | None
    toward_place: Place | None
    parent: int

    @property
    def persistence_s(self) -> float:
        """How long it stays open after it is cut off [s]."""
        return self.last_s - self.cut_s


@dataclass(frozen=True, slots=True, eq=False)
class Islands:
    """All pools that are cut off.

    Attributes
    ----------
    each : tuple of Island
        Those that part from the feeder first, the largest lack first; then those that part from them later.
    label : int32 array (nx, ny, nz)
        Number of the smallest island a cell closes in; -1 where it is fed and outside the metal [-].
    root : int32 array (nx, ny, nz)
        Number of the island that parted from the feeder, likewise [-].
    fed_mm3 : float
        Metal that stays connected to the feeder until it closes, noise included [mm3].
    """

    each: tuple[Island, ...]
    label: Ints
    root: Ints
    fed_mm3: float

    @property
    def cut_off(self) -> tuple[Island, ...]:
        """Those that part from the feeder itself: their volumes and lacks may be summed."""
        return tuple(island for island in self.each if island.parent < 0)


def find_islands(
    flooded: Flood,
    *,
    shrinkage_pct: float,
    cutoff_fs: float,
    liquidus_s: NDArray[np.float32] | None = None,
    least_share: ArrayLike = LEAST_SHARE,
    least_mm3: float = LEAST_MM3,
) -> Islands:
    """Return the pools that are cut off, without noise.

    Parameters
    ----------
    flooded : Flood
        Pools of the cut-off times, noise and all.
    shrinkage_pct : float
        Solidification shrinkage of the alloy [%].
    cutoff_fs : float
        Fraction solid at the cut-off time [-].
    liquidus_s : float32 array (nx, ny, nz), optional
        Time at which each cell begins to freeze [s]; the fraction solid then rises evenly to `cutoff_fs`. Without it
        each cell counts the liquid it has left at its own cut-off time: the least there can be.
    least_share : array_like, () or (pools,)
        A pool must stay open after it is cut off for at least this share of its last time, one for all or for each of
        the flood's pools [-].
    least_mm3 : float
        And hold at least this much metal then [mm3].

    Returns
    -------
    Islands
        Each pool, and the pool of each cell.
    """
    kept, resolved = _kept(flooded, least_share, least_mm3)
    branch = np.where(flooded.branch < 0, -1, resolved[flooded.branch])
    parent = np.where(flooded.into[kept] < 0, -1, resolved[flooded.into[kept]])
    metal = flooded.volume_mm3
    begin = np.full(branch.size, np.nan) if liquidus_s is None else liquidus_s.ravel()[flooded.flat].astype(float)
    number = np.full(flooded.peak.size + 1, -1, dtype=np.int32)
    number[kept] = np.arange(kept.size)
    label, parent = number[branch], number[parent]
    cut = flooded.cut_s[kept]
    liquid = _liquid_mm3(label, parent, cut, metal, begin, flooded.cutoff_s, cutoff_fs)
    order = np.lexsort([-liquid, parent >= 0])
    rank = np.append(np.argsort(order), -1).astype(np.int32)
    lack = 0.01 * shrinkage_pct * liquid
    each = tuple(_island(flooded, int(kept[n]), float(liquid[n]), float(lack[n]), int(rank[parent[n]])) for n in order)
    label = rank[label]
    root = _roots(np.array([island.parent for island in each], dtype=np.int32))[label]
    fed = float(metal[label < 0].sum())
    return Islands(each, _field(flooded, label), _field(flooded, root), fed)


def _field(flooded: Flood, label: Ints) -> Ints:
    """Return labels of cells as a field."""
    field = np.full(flooded.shape, -1, dtype=np.int32)
    field.ravel()[flooded.flat] = label
    return field


def _kept(flooded: Flood, least_share: ArrayLike, least_mm3: float) -> tuple[Ints, Ints]:
    """Return the pools that are no noise, and for each pool the kept one it counts to, -1 at the feeder.

    A pool lasts longer and is larger than those that part from it, so what parts from noise is noise.
    """
    last = flooded.cutoff_s[flooded.peak].astype(float)
    with np.errstate(invalid="ignore"):
        lasting = last - flooded.cut_s >= np.asarray(least_share) * last
    keep = lasting & (flooded.cut_volume_mm3 >= least_mm3) & (flooded.cut_s < last)
    return np.flatnonzero(keep).astype(np.int32), _resolved(keep, flooded.into, flooded.peak.size)


def _resolved(keep: NDArray[np.bool_], into: Ints, pools: int) -> Ints:
    """Return for each pool the nearest kept one among itself and those it parts from, by pointer jumping."""
    target = np.append(np.where(keep, np.arange(pools), into), -1).astype(np.int32)
    while True:
        further = target[target]
        if np.array_equal(further, target):
            return target
        target = further


def _roots(parent: Ints) -> Ints:
    """Return for each island the one that parted from the feeder; one entry more, for none."""
    root = np.append(np.where(parent < 0, np.arange(parent.size), parent), -1).astype(np.int32)
    while not np.array_equal(root[root], root):
        root = root[root]
    return root


def _island(flooded: Flood, pool: int, liquid_mm3: float, lack_mm3: float, parent: int) -> Island:
    """Return one island as a record."""
    choke, toward = int(flooded.choke[pool]), int(flooded.toward[pool])
    return Island(
        cut_s=float(flooded.cut_s[pool]),
        last_s=float(flooded.cutoff_s[flooded.peak[pool]]),
        last_place=flooded.place(int(flooded.peak[pool])),
        volume_mm3=float(flooded.cut_volume_mm3[pool]),
        liquid_mm3=liquid_mm3,
        shrinkage_mm3=lack_mm3,
        choke_place=None if choke < 0 else flooded.place(choke),
        toward_place=None if toward < 0 else flooded.place(toward),
        parent=parent,
    )


@njit(cache=True, nogil=True)
def _liquid_mm3(
    label: Ints, parent: Ints, cut: Array, metal: Array, begin: Array, time: NDArray[np.float32], cutoff_fs: float
) -> Array:
    """Return the liquid in each island as it is cut off: cells of those that part from it later count with it."""
    liquid = np.zeros(cut.size)
    for c in range(label.size):
        island = label[c]
        while island >= 0:
            solid = cutoff_fs
            if begin[c] < time[c]:
                solid *= min(max((cut[island] - begin[c]) / (time[c] - begin[c]), 0.0), 1.0)
            liquid[island] += metal[c] * (1.0 - solid)
            island = parent[island]
    return liquid
