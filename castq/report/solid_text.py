"""Solid depth as plain text for a terminal: what was solved, the grid study, pools and zones of risk."""

from __future__ import annotations

from castq.report.solid_places import grouped
from castq.report.solid_words import at_places, capital, depth_words, grid_words, worst_words
from castq.report.words import label, number
from castq.screening.solid_records import SolidSummary

# Smaller places stay in the tables of the report. Common practice, no source.
NAMED_CM3 = 2.0
MOST = 6


def solid_lines(summary: SolidSummary) -> list[str]:
    """Return what the solved field says, one entry a paragraph.

    Parameters
    ----------
    summary : SolidSummary
        What the solver says.

    Returns
    -------
    list of str
        Free of line breaks; the caller wraps them.
    """
    cells = summary.cells["casting"] + summary.cells["die"]
    lines = [
        f"{capital(summary.sector)}, voxels of {summary.voxel_mm:g} mm, {cells} cells, {summary.steps} steps; heat "
        f"balance closes to {abs(summary.heat_residual):.0e}. Feed metal comes from {summary.feeder}.",
    ]
    if summary.cycle is not None:
        lines.append(summary.cycle.words)
    lines.append(grid_words(summary.grid_study))
    return [*lines, *_island_lines(summary), *_region_lines(summary), *summary.notes]


def _island_lines(summary: SolidSummary) -> list[str]:
    groups = grouped([row for row in summary.islands if row.volume_cm3 >= NAMED_CM3], summary.voxel_mm)
    lines = [f"Pool: {group.row.words}; {at_places(group)}." for group in groups[:MOST]]
    named = sum(len(group.angles_deg) for group in groups[:MOST])
    rest = len(summary.islands) - named
    if not summary.islands:
        return ["No pool is cut off from the feeder."]
    return [*lines, f"{rest} smaller or further pools stand in the report."] if rest else lines


def _region_lines(summary: SolidSummary) -> list[str]:
    groups = grouped([row for row in summary.regions if row.volume_cm3 >= NAMED_CM3], summary.voxel_mm)
    lines = [
        f"Zone of risk: {group.row.zone}, {label(group.row.quantity).lower()} up to {worst_words(group.row)}, "
        f"{number(group.row.volume_cm3)} cm3, {depth_words(group.row)}: {group.row.cause}; {at_places(group)}."
        for group in groups[:MOST]
    ]
    rest = len(summary.regions) - sum(len(group.angles_deg) for group in groups[:MOST])
    if not summary.regions:
        return ["No zone of risk: porosity stays within the limits everywhere, and all metal stays fed."]
    return [*lines, f"{rest} smaller or further zones of risk stand in the report."] if rest else lines
