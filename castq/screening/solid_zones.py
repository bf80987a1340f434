"""What each zone takes from the solved field: times, margins and Niyama value that nine tenths of its metal keep."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from castq.geometry.roles import CODE
from castq.screening.shape import WheelShape
from castq.screening.solid_feed import Feeding
from castq.screening.solid_records import ZoneAnchors
from castq.screening.types import Case
from castq.thermal.solid import SolidTimes

Array = NDArray[np.float64]

HIGH, LOW = 0.9, 0.1
# Margins at which the share of the metal below is kept: 1 is one of them.
NODES: Array = np.exp(np.linspace(-np.log(4.0), np.log(4.0), 241))
# Metal that is fed is cut off in a draw when its margin falls below this: as much as a pool must outlast its choke.
LASTING = 0.95


def zone_anchors(case: Case, shape: WheelShape, times: SolidTimes, feeding: Feeding) -> ZoneAnchors:
    """Return what the chain takes from the solved field.

    Parameters
    ----------
    case : Case
        The design; its sections give the order of the rows.
    shape : WheelShape
        Its measured shape.
    times : SolidTimes
        The solved field [s].
    feeding : Feeding
        How it is fed.

    Returns
    -------
    ZoneAnchors
        One row a section.
    """
    flooded = feeding.paths.flood
    codes, metal = shape.zones.codes.ravel()[flooded.flat], flooded.volume_mm3
    by_name = {
        "local_solidification_time_s": times.local_solidification_s, "solid_time_s": times.solid_s,
        "cutoff_time_s": times.cutoff_s,
    }  # fmt: skip
    cells = [np.flatnonzero(codes == CODE[section.role]) for section in case.sections]
    found = {
        name: np.array([quantile(field.ravel()[flooded.flat[c]], metal[c], HIGH) for c in cells])
        for name, field in by_name.items()
    }
    drawn = np.where(feeding.cut_off, feeding.margin, feeding.margin / LASTING)
    return ZoneAnchors(
        **found,
        feeding_margin=_margins(case, [quantile(feeding.margin[c], metal[c], LOW) for c in cells]),
        niyama=np.array([quantile(feeding.niyama[c], metal[c], LOW) for c in cells]),
        nodes=NODES,
        cut_share=np.stack([_share_below(drawn[c], metal[c]) for c in cells]),
        reach=np.stack([_mean_reach(feeding.pressed[c], metal[c]) for c in cells]),
    )


def _margins(case: Case, margins: list[float]) -> Array:
    """Return the margins, at most the last node where another zone should feed: the feeder may stand in the zone."""
    most = [np.inf if section.feeds_from == "gate" else NODES[-1] for section in case.sections]
    return np.minimum(margins, most)


def quantile(values: NDArray[np.floating], weights: Array, share: float) -> float:
    """Return the value that a share of the weight stays at or below; NaN where no value is known.

    Parameters
    ----------
    values : array (n,)
        Values; NaN is left out.
    weights : array (n,)
        Weight of each [-].
    share : float
        Share of the weight, 0 to 1 [-].

    Returns
    -------
    float
        One of the values.
    """
    known = ~np.isnan(values)
    if not known.any():
        return float("nan")
    order = np.argsort(values[known], kind="stable")
    total = np.cumsum(weights[known][order])
    place = int(np.searchsorted(total, share * total[-1]))
    return float(values[known][order[min(place, order.size - 1)]])


def _share_below(margin: NDArray[np.floating], weights: Array) -> Array:
    """Return the share of the metal with a margin below each node [-]."""
    inside = np.bincount(np.searchsorted(NODES, margin, side="right"), weights=weights, minlength=NODES.size + 1)
    return np.cumsum(inside)[:-1] / weights.sum()


def _mean_reach(margin: NDArray[np.floating], weights: Array) -> Array:
    """Return the mean over the metal of the margin, each at most the node [-]."""
    bins = np.searchsorted(NODES, margin, side="right")
    count = NODES.size + 1
    below = np.cumsum(np.bincount(bins, weights=weights, minlength=count))[:-1]
    held = np.cumsum(np.bincount(bins, weights=weights * np.where(bins < NODES.size, margin, 0.0), minlength=count))[
        :-1
    ]
    return (held + NODES * (weights.sum() - below)) / weights.sum()
