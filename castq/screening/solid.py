"""Solid depth: the real shape frozen in three dimensions, fed, and summed up for the chain and for the report."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from castq.core.errors import InputError
from castq.feeding.islands import Islands
from castq.feeding.paths import FeedingPaths
from castq.screening.shape import WheelShape
from castq.screening.solid_feed import Feeding, feed
from castq.screening.solid_fields import solid_fields
from castq.screening.solid_records import (
    CycleRow,
    GridStudy,
    GridZone,
    IslandRow,
    RegionRow,
    SolidSummary,
    ZoneAnchors,
)
from castq.screening.solid_regions import island_rows, region_rows
from castq.screening.solid_solve import check_cells, cycle_row, freeze_shape
from castq.screening.solid_study import Coarse, grid_study, solve_coarse
from castq.screening.solid_zones import zone_anchors
from castq.screening.types import Case
from castq.thermal.cycle import CycleResult
from castq.thermal.die_growth import Sector, sector_of
from castq.thermal.solid import SolidTimes
from castq.thermal.solid_problem import Pace

__all__ = [
    "CycleRow",
    "GridStudy",
    "GridZone",
    "IslandRow",
    "RegionRow",
    "SolidDepth",
    "SolidSummary",
    "ZoneAnchors",
    "solve_solid",
]

# Reheating of a place within one step that is no longer the noise of the steps [K].
REHEAT_NOTE_K = 5.0
_NUMBERS = {2: "half", 3: "third", 4: "quarter", 5: "fifth", 6: "sixth", 7: "seventh", 8: "eighth", 9: "ninth",
            10: "tenth", 12: "twelfth", 14: "fourteenth", 16: "sixteenth", 18: "eighteenth", 20: "twentieth",
            24: "twenty-fourth"}  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class SolidDepth:
    """The solved field of a wheel and what follows from it.

    Attributes
    ----------
    times : SolidTimes
        When each place freezes [s].
    islands : Islands
        Pools that are cut off.
    paths : FeedingPaths
        Way of each place to the feeder.
    fields : mapping of str to float32 array (nx, ny, nz)
        Results on the voxels, named as columns of the zone table where they are one, in the unit the name ends in.
    zones : ZoneAnchors
        What the chain takes.
    summary : SolidSummary
        What a report prints.
    """

    times: SolidTimes
    islands: Islands
    paths: FeedingPaths
    fields: Mapping[str, NDArray[np.float32]]
    zones: ZoneAnchors
    summary: SolidSummary


def solve_solid(
    case: Case,
    shape: WheelShape,
    *,
    pace: Pace | None = None,
    study: bool = True,
    progress: Callable[[str], None] | None = None,
) -> SolidDepth:
    """Freeze and feed the real shape of a case.

    Parameters
    ----------
    case : Case
        The design.
    shape : WheelShape
        Its measured shape.
    pace : Pace, optional
        Lengths of the time steps.
    study : bool
        Whether to solve again on a coarser grid and say what the difference means.
    progress : callable, optional
        Takes one line of words as each long step begins.

    Returns
    -------
    SolidDepth
        Fields, anchors of the zones and the summary.

    Raises
    ------
    InputError
        If the voxels are too coarse, memory is short, a value is impossible, the casting never freezes, or no metal
        can reach it.
    """
    say = progress or _silent
    check_cells(case, shape)
    sector = sector_of(shape.axis)
    if case.parts.cycle is not None:
        say("the die's temperatures come from its production cycle: several shots are solved first ...")
    also = ", and once more on coarser voxels" if study else ""
    say(f"freezing {case.name}: {in_words(sector)}, voxels of {shape.grid.spacing_mm:g} mm{also} ...")
    with ThreadPoolExecutor(max_workers=1) as pool:
        # Beside the fine grid: each leaves a core idle now and then.
        other = pool.submit(solve_coarse, case, shape, sector, pace) if study else None
        times, steady = freeze_shape(case, shape, shape.grid, shape.zones.codes, sector, pace)
        say("feeding: pools, ways and zones of risk ...")
        feeding = feed(case, shape, times)
        fields = solid_fields(case, times, feeding)
        found, refused = _studied(case, shape, times, other)
    summary = _summary(shape, times, feeding, steady)
    summary = replace(
        summary, sector=in_words(sector), grid_study=found, notes=(*summary.notes, *refused),
        regions=region_rows(case, shape, times, feeding, fields),
    )  # fmt: skip
    return SolidDepth(times, feeding.islands, feeding.paths, fields, zone_anchors(case, shape, times, feeding), summary)


def _studied(
    case: Case, shape: WheelShape, times: SolidTimes, other: Future[Coarse] | None
) -> tuple[GridStudy | None, tuple[str, ...]]:
    """Return the grid study, or why there is none."""
    if other is None:
        return None, ()
    try:
        return grid_study(case, shape, times, other.result()), ()
    except InputError as error:
        return None, (f"no grid study: {error.faults[0].found} on the coarser grid",)


def _silent(_: str) -> None:
    """Say nothing."""


def in_words(sector: Sector | None) -> str:
    """Return what is solved, in words."""
    if sector is None:
        return "the whole wheel"
    count = round(2.0 * np.pi / sector.span_rad)
    share = f"one {_NUMBERS.get(count, f'part in {count}')}"
    return f"{share}, which repeats by turning" if sector.turning else f"{share}, between two mirror planes"


def _summary(shape: WheelShape, times: SolidTimes, feeding: Feeding, steady: CycleResult | None) -> SolidSummary:
    """Return what a report prints about the solved field, as far as it is known without sector, study and regions."""
    notes = [*times.notes, *feeding.notes, *(() if steady is None else steady.notes)]
    if times.reheat_k > REHEAT_NOTE_K:
        notes.append(
            f"a place of the casting ends a step {times.reheat_k:.0f} K above all around it: look at the time steps"
        )
    return SolidSummary(
        voxel_mm=shape.grid.spacing_mm,
        sector="",
        cells={name: int(times.cells[name]) for name in ("casting", "die")},
        steps=times.steps,
        heat_residual=times.heat_residual,
        reheat_k=times.reheat_k,
        surface_share=times.cells["surface_share"],
        volume_share=times.cells["volume_share"],
        feeder=feeding.feeder,
        grid_study=None,
        islands=island_rows(shape, feeding),
        regions=(),
        cycle=None if steady is None else cycle_row(steady),
        notes=tuple(notes),
    )
