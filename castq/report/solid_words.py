"""What solid depth solved, in plain words: one paragraph, the grid study, places on the wheel."""

from __future__ import annotations

from castq.core.errors import plain
from castq.report.solid_places import Group
from castq.report.words import given, number, unit_text
from castq.screening.solid_records import GridStudy, IslandRow, RegionRow, SolidSummary
from castq.screening.types import Case


def capital(text: str) -> str:
    """Return text with its first letter large."""
    return text[:1].upper() + text[1:]


def solved_words(case: Case, summary: SolidSummary) -> tuple[str, ...]:
    """Return what was solved, sentence by sentence.

    Parameters
    ----------
    case : Case
        The design, for die and cooling.
    summary : SolidSummary
        What the solver says.

    Returns
    -------
    tuple of str
        Sentences for one paragraph.
    """
    split = " and ".join(f"{_spaced(count)} cells of {plain(name, 20)}" for name, count in summary.cells.items())
    return (
        f"The freezing of the real shape was solved in three dimensions, casting and die together, on voxels of "
        f"{summary.voxel_mm:g} mm with cut cells at the surface: {plain(summary.sector, 120)}.",
        f"{split}; {summary.steps} steps in time.",
        f"Heat: what die and surroundings took up differs from what the casting gave by {summary.heat_residual:.1e} of "
        f"it; no place of the casting ended a step more than {number(summary.reheat_k, 2)} K above all around it.",
        f"The cells hold {_share(summary.volume_share)} of the casting's volume and {_share(summary.surface_share)} of "
        f"its surface.",
        f"Feed metal comes from: {plain(summary.feeder, 160)}.",
        _die_words(case),
        _cooling_words(case),
    )


def _spaced(count: int) -> str:
    return f"{count:,}".replace(",", " ")


def _share(share: float) -> str:
    return f"{100.0 * share:.1f}\u00a0%"


def _die_words(case: Case) -> str:
    tool = case.tool
    drawn = [plain(body.name, 40) for body in case.parts.die]
    start = sorted({float(value) for value in tool.die_temp_c.values()})
    temps = f"{start[0]:g}" if len(start) == 1 else f"{start[0]:g} to {start[-1]:g}"
    wall = (
        f"as drawn ({', '.join(drawn)})" if drawn else f"grown around the casting to a wall of {tool.die_wall_mm:g} mm"
    )
    return f"Die: {plain(tool.die.id, 60)}, {wall}, starting at {temps} °C."


def _cooling_words(case: Case) -> str:
    parts = case.parts
    circuits = [f"{plain(c.name, 40)} ({c.medium}, {_spans(c.on_s)})" for c in parts.circuits]
    bodies = [f"{plain(b.name, 40)} ({plain(b.material.id, 40)})" for b in parts.bodies]
    cooling = (
        f"Cooling: {'; '.join(circuits)}." if circuits else "No cooling circuit is given; the die's outer face cools."
    )
    return cooling + (f" In the die: {'; '.join(bodies)}." if bodies else "")


def _spans(spans: tuple[tuple[float, float], ...]) -> str:
    return "on " + ", ".join(f"{a:g} to {b:g} s" for a, b in spans) if spans else "never on"


def grid_words(study: GridStudy | None) -> str:
    """Return what the grid study says, and what it cannot say.

    Parameters
    ----------
    study : GridStudy or None
        The study; None when only one grid was solved.
    """
    if study is None:
        return (
            "Only one grid was solved, so nothing here says how far the times depend on the voxel size. Run the grid "
            "study before you lean on a small difference."
        )
    return (
        f"The same casting on voxels of {study.coarse_mm:g} mm instead of {study.fine_mm:g} mm: local solidification "
        f"times differ by {_share(study.mean_difference)} in the mean, by up to {_share(study.p95_difference)} in 19 "
        f"places of 20. Two grids cannot show an order of convergence; {study.order:g} is assumed, with a factor of "
        f"safety of {study.safety:g}. {plain(study.words, 400)}"
    )


def place_words(row: IslandRow | RegionRow) -> str:
    """Return where something lies on the wheel, as radius, height and angle."""
    return f"radius {row.radius_mm:.0f} mm, height {_height(row)} mm, angle {_angle(row.angle_deg)}°"


def _height(row: IslandRow | RegionRow) -> str:
    return f"{row.height_mm:.0f}".replace("-0", "0").replace("-", "−")


def _angle(angle_deg: float) -> str:
    return f"{angle_deg % 360.0:.0f}".replace("360", "0")


def at_places(group: Group[RegionRow] | Group[IslandRow]) -> str:
    """Return where a place and its copies lie on the wheel."""
    row, count = group.row, len(group.angles_deg)
    if count == 1:
        return place_words(row)
    angles = ", ".join(_angle(angle) for angle in sorted(group.angles_deg)[:6]) + (" ..." if count > 6 else "")
    return f"{count} like places: radius {row.radius_mm:.0f} mm, height {_height(row)} mm, angles {angles}°"


def depth_words(row: RegionRow) -> str:
    """Return how deep a zone of risk lies under the casting's surface."""
    return "at the surface" if row.depth_mm <= 0.0 else f"{row.depth_mm:.0f} mm"


def worst_words(row: RegionRow) -> str:
    """Return the worst value with its unit and the limit."""
    unit = unit_text(row.unit)
    return f"{number(row.worst)} {unit}".strip() + f", limit {given(row.limit, row.unit)}"
