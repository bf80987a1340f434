"""Feeding of the solved field: which cells the feeder stands on, pools, ways, and margins of each cell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castq.core.errors import input_error
from castq.feeding.flood import Flood, flood
from castq.feeding.islands import LEAST_SHARE, Islands, find_islands
from castq.feeding.paths import FeedingPaths, feeding_paths
from castq.feeding.whole_way import whole_way_niyama, zone_margin
from castq.geometry.roles import CODE
from castq.screening.shape import WheelShape
from castq.screening.types import Case
from castq.thermal.solid import SolidTimes

Floats = NDArray[np.float32]
Mask = NDArray[np.bool_]

# In an even wall the grid alone makes pools that outlast their choke by up to this over the square of the cells across
# it: 8 % at nearly five cells, 25 % at three, on the rims of the demo wheels.
NOISE = 3.0
# Least pool of the table [mm3]. Common practice, no source.
LEAST_MM3 = 500.0


@dataclass(frozen=True, slots=True, eq=False)
class Feeding:
    """How the casting is fed; arrays with one value a cell of the flood.

    Attributes
    ----------
    islands : Islands
        Pools that are cut off, without what the grid alone makes.
    paths : FeedingPaths
        Way of each cell.
    cut_off : bool array (cells,)
        Cells in an island.
    margin : float32 array (cells,)
        Closing of the way beyond the cell's own zone over its own cut-off time [-]; below 1 in an island only.
    pressed : float32 array (cells,)
        The same, but closed at the latest when the pressure on the melt ends [-].
    niyama : array (cells,)
        Niyama value along the whole way [(K s)^0.5/mm]; NaN where there is none.
    feeder : str
        What feeds, in words.
    notes : tuple of str
        What the reader should know.
    """

    islands: Islands
    paths: FeedingPaths
    cut_off: Mask
    margin: Floats
    pressed: Floats
    niyama: NDArray[np.float64]
    feeder: str
    notes: tuple[str, ...]


def feed(case: Case, shape: WheelShape, times: SolidTimes) -> Feeding:
    """Return how the casting is fed.

    Parameters
    ----------
    case : Case
        The design, with what its die has.
    shape : WheelShape
        Its measured shape.
    times : SolidTimes
        The solved field [s].

    Returns
    -------
    Feeding
        Islands, ways and margins.

    Raises
    ------
    InputError
        If no metal stands on the feeder, or most of the casting has no way to it.
    """
    gate, words = feeder_cells(case, shape, times)
    grid = shape.grid
    flooded = flood(times.cutoff_s, gate, spacing_mm=grid.spacing_mm, fraction=grid.fraction, source=case.name)
    alloy = case.alloy
    islands = find_islands(
        flooded, shrinkage_pct=alloy.shrinkage_pct, cutoff_fs=alloy.cutoff_fs, liquidus_s=times.liquidus_s,
        least_share=least_shares(shape, flooded), least_mm3=LEAST_MM3,
    )  # fmt: skip
    paths = feeding_paths(flooded, shape.section.wall_mm)
    notes = (*_without_way(case, paths), *_hold_notes(case, flooded.cutoff_s[flooded.feeder]))
    cut_off = islands.label.ravel()[flooded.flat] >= 0
    margin = zone_margin(paths, shape.zones.codes, cut_off)
    pressed = np.minimum(margin, np.float32(hold_ends_s(case)) / flooded.cutoff_s)
    niyama = whole_way_niyama(paths, times.cooling_rate_k_s.ravel()[flooded.flat])
    return Feeding(islands, paths, cut_off, margin, pressed, np.where(cut_off, np.nan, niyama), words, notes)


def least_shares(shape: WheelShape, flooded: Flood) -> NDArray[np.float64]:
    """Return how long each pool must outlast its choke to be more than what the grid makes, over its last time.

    Parameters
    ----------
    shape : WheelShape
        The measured shape.
    flooded : Flood
        Pools of the cut-off times.

    Returns
    -------
    array (pools,)
        By the cells across the section in which the pool freezes last [-].
    """
    section = shape.section.section_mm.ravel()[flooded.flat[flooded.peak]].astype(float)
    cells = np.maximum(section / shape.grid.spacing_mm, 1.0)
    return np.maximum(LEAST_SHARE, NOISE / cells**2)


def cells_across(shape: WheelShape) -> float:
    """Return how many voxels lie across the thinnest wall [-]."""
    return shape.section.thinnest_mm / shape.grid.spacing_mm


def hold_ends_s(case: Case) -> float:
    """Return when the pressure on the melt ends [s]; infinite when the case gives no cycle."""
    cycle = case.parts.cycle
    return np.inf if cycle is None else cycle.fill_s + cycle.hold_s


def feeder_cells(case: Case, shape: WheelShape, times: SolidTimes) -> tuple[Mask, str]:
    """Return the cells that metal is fed into from outside, and what feeds in words.

    Parameters
    ----------
    case : Case
        The design.
    shape : WheelShape
        Its measured shape.
    times : SolidTimes
        The solved field, which knows where gate and feeder heads stand [s].

    Returns
    -------
    bool array (nx, ny, nz), str
        At the gate and under the feeder heads, else hub and bolt seats.

    Raises
    ------
    InputError
        If a feeder is given and touches no metal.
    """
    parts, codes = case.parts, shape.zones.codes
    given = [*(f"feeder head {head.name}" for head in parts.feeders), *(["the gate"] if parts.gate else [])]
    if not given:
        return (codes == CODE["hub"]) | (codes == CODE["bolt seat"]), "the hub with its bolt seats, taken as the gate"
    cells = np.zeros(codes.shape, dtype=bool) if times.gate is None else times.gate & (codes > 0)
    if not cells.any():
        raise input_error(
            case.name, "feeder", f"no path from feeder to casting: {', '.join(given)} touches no metal",
            "a feeder that stands on the casting", "move it or make it larger",
        )  # fmt: skip
    return cells, ", ".join(given)


def _without_way(case: Case, paths: FeedingPaths) -> tuple[str, ...]:
    """Return a note on metal that never has a way to the feeder; refuse a casting that mostly has none."""
    volume = paths.flood.volume_mm3
    lost = float(volume[paths.choke < 0].sum() / volume.sum())
    if lost > 0.5:
        raise input_error(
            case.name, "feeder", f"no path from feeder to casting for {100 * lost:.0f} % of the metal",
            "a feeder that is connected with the casting", "move the gate or feeder, or mend the shape",
        )  # fmt: skip
    if lost <= 0.001:
        return ()
    return (f"{100 * lost:.1f} % of the metal has no path from feeder to casting: it is taken as cut off",)


def _hold_notes(case: Case, gate_s: Floats) -> tuple[str, ...]:
    """Return a note when the pressure on the melt ends before the feeder has closed."""
    ends, closes = hold_ends_s(case), float(gate_s.max())
    if not ends < closes:
        return ()
    return (
        f"the hold ends at {ends:.0f} s, before the feeder closes at {closes:.0f} s: from then on no pressure helps "
        "feeding, and metal may run back",
    )
