"""The hydrogen that each zone stands, from the chain's own draws: the estimate of gas porosity solved the other way.

The hydrogen of the melt itself does not enter: what the melt holds, and how well that is known, is held against it.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from castq.core.relation import REGISTRY
from castq.physics.porosity import hydrogen_limit, site_factor
from castq.screening.chain import ChainResult
from castq.screening.ranges import EDGE, OUTSIDE, widened
from castq.screening.room_records import HydrogenRoom, ZoneRoom
from castq.screening.types import Case, Limit

Array = NDArray[np.float64]

LIMITED = ("porosity_pct", "gas_porosity_pct")
BEYOND = "a relation behind it is used outside its range"
NO_VALUE = "no value is known here"


def hydrogen_room(case: Case, result: ChainResult) -> HydrogenRoom:
    """Return the highest hydrogen at which each zone meets its limits on porosity, draw by draw.

    Parameters
    ----------
    case : Case
        The design.
    result : ChainResult
        The chain's own draws, before any band is widened.

    Returns
    -------
    HydrogenRoom
        One row for each zone and limit; none without a limit on porosity.

    Notes
    -----
    At the edge of a range the draws are spread by half around their median, as the chain's predictions are; outside
    of it the zone is not decided. Where the estimate would allow more than its own range reaches, its end is given.
    """
    least, most = REGISTRY["gas-porosity-estimate"].valid["hydrogen_ml_100g"]
    held = list(_held(case))
    count = result.samples["sdas_um"].shape[1]
    if not held:
        return HydrogenRoom((), np.full(count, np.nan), most)
    states = _states(result, len(case.sections))
    allowed = _allowed(case, result, held)
    zones = []
    for (row, limit), values in zip(held, allowed, strict=True):
        section = case.sections[row]
        why = BEYOND if states[row] >= OUTSIDE else NO_VALUE if np.isnan(values).any() else ""
        # A band that is widened never turns into none at all: that is for shrinkage to say.
        wide = np.where(values > 0.0, np.maximum(widened(values), least), 0.0) if states[row] == EDGE else values
        draws = np.minimum(wide, most)
        zones.append(
            ZoneRoom(section.zone, section.role, limit.quantity, limit.value, limit.house_default,
                     np.full(count, np.nan) if why else draws, why)
        )  # fmt: skip
    decided = [zone.draws for zone in zones if not zone.undecided]
    together = np.min(decided, axis=0) if decided else np.full(count, np.nan)
    return HydrogenRoom(tuple(zones), together, most)


def _held(case: Case) -> Iterator[tuple[int, Limit]]:
    """Yield the row of each zone with each limit that hydrogen can break."""
    for row, section in enumerate(case.sections):
        for limit in case.limits:
            if limit.role == section.role and limit.quantity in LIMITED and limit.operator == "<=":
                yield row, limit


def _allowed(case: Case, result: ChainResult, held: list[tuple[int, Limit]]) -> Array:
    """Return the highest hydrogen, array (limits, draws) [ml/100g]; 0 where shrinkage alone is too much."""
    rows = [row for row, _ in held]
    time_s, sdas_um, pressure_atm, factor, shrinkage_pct = (
        result.samples[name][rows]
        for name in ("local_solidification_time_s", "sdas_um", "metal_pressure_atm", "gas_factor",
                     "shrinkage_porosity_pct")
    )  # fmt: skip
    counted = np.array([[limit.quantity == "porosity_pct"] for _, limit in held])
    left_pct = np.array([[limit.value] for _, limit in held]) - np.where(counted, shrinkage_pct, 0.0)
    sites = site_factor(case.melt.strontium_ppm, case.melt.cleanliness)
    # The factor of a draw acts on the estimate, which itself keeps below the bound, and so does the product: the limit
    # holds while either of the two does.
    by_estimate = hydrogen_limit(left_pct / factor, time_s, sdas_um, pressure_atm, sites)
    return np.maximum(by_estimate, hydrogen_limit(left_pct, time_s, sdas_um, pressure_atm, sites * factor))


def _states(result: ChainResult, zones: int) -> NDArray[np.int8]:
    """Return how far outside a range the relations behind the hydrogen are: all but for the hydrogen it is."""
    kept = {
        (name, argument): rows
        for (name, argument), rows in result.traces["soundness"].excursions.items()
        if argument != "hydrogen_ml_100g"
    }
    before = [result.states(quantity, zones) for quantity in ("sdas_um", "feeding_margin")]
    return np.max([*before, *(np.broadcast_to(rows, zones) for rows in kept.values())], axis=0).astype(np.int8)
