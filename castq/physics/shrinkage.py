"""Feeding and shrinkage porosity: solidification shrinkage, feeding margin, cut-off pools, criteria, closure."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import EXACT, Band, relation
from castq.physics.niyama import niyama_shrinkage

# Freezing order written on time: what feeds should freeze later by these ratios. Common practice, no source.
STEP_MARGIN = 1.1
GATE_MARGIN = 1.25


@relation(
    id="solidification-shrinkage",
    title="Solidification shrinkage of Al-Si",
    source="6.6 % of pure aluminium and 4.4 % of Al-11.6Si by Magnusson and Arnberg 2001, Metallurgical and Materials "
    "Transactions A 32:2605; straight line between them",
    provenance="derived",
    band=Band("absolute", 0.3, "%", "line between two measured ends"),
    valid={"silicon_wt_pct": (0.0, 12.0)},
)
def solidification_shrinkage(silicon_wt_pct: ArrayLike) -> NDArray[np.float64]:
    """Return the volume shrinkage on freezing, relative to solid.

    Parameters
    ----------
    silicon_wt_pct : array_like
        Silicon [wt%].

    Returns
    -------
    array
        Shrinkage [%].
    """
    return 6.6 - 0.19 * np.asarray(silicon_wt_pct, dtype=float)


@relation(
    id="feeding-margin",
    title="Feeding margin of a zone",
    source="ratio of two computed times",
    provenance="derived",
    band=EXACT,
)
def feeding_margin(choke_cutoff_time_s: ArrayLike, cutoff_time_s: ArrayLike) -> NDArray[np.float64]:
    """Return the cut-off time of the choke over that of the zone behind it.

    Parameters
    ----------
    choke_cutoff_time_s : array_like
        Time to feeding cut-off of the choke on the way to the zone [s].
    cutoff_time_s : array_like
        Time to feeding cut-off of the zone [s].

    Returns
    -------
    array
        Feeding margin [-].

    Notes
    -----
    Below 1 the zone is cut off while it still needs metal. Usual aim: 1.1 a step, 1.25 at the gate.
    """
    return np.asarray(choke_cutoff_time_s, dtype=float) / np.asarray(cutoff_time_s, dtype=float)


@relation(
    id="freezing-order-reserve",
    title="Feeding margin over the margin that the freezing order asks for",
    source="1.1 in time for each step toward the gate and 1.25 at the gate: common practice, no source",
    provenance="practice",
    band=Band("relative", 0.05, "rule of thumb"),
)
def freezing_order_reserve(feeding_margin: ArrayLike, at_gate: ArrayLike = False) -> NDArray[np.float64]:
    """Return the feeding margin over the usual aim; 1 or more keeps the freezing order.

    Parameters
    ----------
    feeding_margin : array_like
        Feeding margin [-].
    at_gate : array_like of bool
        True where the zone is fed straight from the gate [-].

    Returns
    -------
    array
        Margin over aim [-].
    """
    aim = np.where(np.asarray(at_gate, dtype=bool), GATE_MARGIN, STEP_MARGIN)
    return np.asarray(feeding_margin, dtype=float) / aim


@relation(
    id="open-share",
    title="Share of the freezing time with an open feed path",
    source="cut-off time of the choke over that of the zone, at most 1",
    provenance="practice",
    band=Band("absolute", 0.1, "-", "sharp cut-off assumed"),
    valid={"feeding_margin": (0.0, np.inf)},
    closure=True,
)
def open_share(feeding_margin: ArrayLike) -> NDArray[np.float64]:
    """Return the share of freezing during which pressure and metal reach the zone.

    Parameters
    ----------
    feeding_margin : array_like
        Feeding margin [-].

    Returns
    -------
    array
        Open share, 0 to 1 [-].

    Notes
    -----
    1 where the choke freezes with or after the zone; else the feeding margin itself.
    """
    return np.clip(np.asarray(feeding_margin, dtype=float), 0.0, 1.0)


@relation(
    id="isolated-pool-shrinkage",
    title="Shrinkage porosity of a zone that is cut off",
    source="volume balance of the liquid left when feeding stops; rule of practice",
    provenance="practice",
    band=Band("factor", 1.5, "cut-off fraction ±0.05, shrinkage ±0.3 %"),
    valid={"shrinkage_pct": (3.5, 7.0), "cutoff_fs": (0.5, 0.9)},
    closure=True,
)
def isolated_pool_shrinkage(shrinkage_pct: ArrayLike, cutoff_fs: ArrayLike) -> NDArray[np.float64]:
    """Return the porosity left by liquid that is cut off at a fraction solid.

    Parameters
    ----------
    shrinkage_pct : array_like
        Solidification shrinkage [%].
    cutoff_fs : array_like
        Fraction solid at which feeding stops [-].

    Returns
    -------
    array
        Shrinkage porosity, share of the volume of the zone [%].
    """
    return np.asarray(shrinkage_pct, dtype=float) * (1.0 - np.asarray(cutoff_fs, dtype=float))


@relation(
    id="shrinkage-porosity",
    title="Shrinkage porosity of a zone from its feeding margin and its Niyama value",
    source="isolated-pool balance at margin 1 and below, dimensionless Niyama at 1.1 and above, linear between",
    provenance="practice",
    band=Band("factor", 2.0, "ranks zones; not an absolute prediction"),
    valid={"feeding_margin": (0.0, np.inf), "shrinkage_pct": (3.5, 7.0), "cutoff_fs": (0.5, 0.9)},
    closure=True,
)
def shrinkage_porosity(
    feeding_margin: ArrayLike,
    dimensionless_niyama: ArrayLike,
    shrinkage_pct: ArrayLike,
    cutoff_fs: ArrayLike,
) -> NDArray[np.float64]:
    """Return the shrinkage porosity of a zone.

    Parameters
    ----------
    feeding_margin : array_like
        Feeding margin [-].
    dimensionless_niyama : array_like
        Dimensionless Niyama value along the feeding path; NaN where the distance is not known [-].
    shrinkage_pct : array_like
        Solidification shrinkage [%].
    cutoff_fs : array_like
        Fraction solid at which feeding stops [-].

    Returns
    -------
    array
        Shrinkage porosity [%].

    Notes
    -----
    At a margin of 1.1 or more: the Niyama part alone. At 1.0 or less: the isolated pool. Linear in the margin between.
    The Niyama part never exceeds the pool: while the path is open, only the liquid left at cut-off can go unfed. Where
    the Niyama value is NaN its part is 0: the zone is then judged by its margin alone.
    """
    pool = isolated_pool_shrinkage(shrinkage_pct, cutoff_fs)
    with_feed = np.minimum(np.fmax(niyama_shrinkage(dimensionless_niyama, shrinkage_pct), 0.0), pool)
    margin = np.asarray(feeding_margin, dtype=float)
    cut_off = np.clip((STEP_MARGIN - margin) / (STEP_MARGIN - 1.0), 0.0, 1.0)
    return with_feed + cut_off * (pool - with_feed)
