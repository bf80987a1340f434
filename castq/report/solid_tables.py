"""Tables of solid depth: grid study, liquid islands and zones of risk, as texts for people and as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from castq.core.errors import plain
from castq.report.exports import DIGITS, rounded, safe_text
from castq.report.solid_places import Group, grouped
from castq.report.solid_words import at_places, capital, depth_words, grid_words, solved_words, worst_words
from castq.report.words import DASH, label, number, with_unit
from castq.screening.solid_records import GridStudy, IslandRow, RegionRow, SolidSummary
from castq.screening.types import Case

MOST_ROWS = 8
ISLAND_COLUMNS: tuple[str, ...] = (
    "number", "zone", "choked_by", "cut_s", "last_s", "volume_cm3", "lack_cm3", "radius_mm", "height_mm", "angle_deg",
    "words",
)  # fmt: skip
REGION_COLUMNS: tuple[str, ...] = (
    "rank", "zone", "quantity", "unit", "limit", "worst", "volume_cm3", "depth_mm", "elongation_lost_pct", "radius_mm",
    "height_mm", "angle_deg", "cause",
)  # fmt: skip
TextRow = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class SolidView:
    """What the report says about one solved shape.

    Attributes
    ----------
    name : str
        Design, empty for one alone.
    solved : tuple of str
        What was solved, sentence by sentence.
    grid_words : str
        What the grid study says.
    grid, islands, regions : sequence of mapping
        Rows as texts.
    more_islands, more_regions : int
        Rows left to the CSV files [-].
    facts : tuple of (str, str)
        What two designs are held side by side by.
    notes : tuple of str
        What the reader should know.
    """

    name: str
    solved: tuple[str, ...]
    grid_words: str
    grid: Sequence[TextRow]
    islands: Sequence[TextRow]
    regions: Sequence[TextRow]
    more_islands: int
    more_regions: int
    facts: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]


def solid_view(case: Case, summary: SolidSummary, name: str = "") -> SolidView:
    """Return what the report says about one solved shape.

    Parameters
    ----------
    case : Case
        The design.
    summary : SolidSummary
        What the solver says.
    name : str
        Design, empty for one alone.

    Returns
    -------
    SolidView
        Texts, free text still to be escaped.
    """
    islands, regions = grouped(summary.islands, summary.voxel_mm), grouped(summary.regions, summary.voxel_mm)
    cycle = (plain(summary.cycle.words, 400),) if summary.cycle else ()
    return SolidView(
        name=name,
        solved=(*solved_words(case, summary), *cycle),
        grid_words=grid_words(summary.grid_study),
        grid=_grid_rows(summary.grid_study),
        islands=[_island_row(group) for group in islands[:MOST_ROWS]],
        regions=[_region_row(rank, group) for rank, group in enumerate(regions[:MOST_ROWS], start=1)],
        more_islands=max(0, len(islands) - MOST_ROWS),
        more_regions=max(0, len(regions) - MOST_ROWS),
        facts=_facts(summary),
        notes=summary.notes,
    )


def _grid_rows(study: GridStudy | None) -> list[TextRow]:
    if study is None:
        return []
    return [
        {"zone": zone.zone, "fine": with_unit(zone.fine_s, "s"), "coarse": with_unit(zone.coarse_s, "s"),
         "difference": f"{100.0 * (zone.coarse_s - zone.fine_s) / zone.fine_s:+.1f} %",
         "index": f"± {100.0 * zone.index:.1f} %"}
        for zone in study.zones
    ]  # fmt: skip


def _copies(count: int) -> str:
    return f"{count} × " if count > 1 else ""


def _island_row(group: Group[IslandRow]) -> TextRow:
    row, count = group.row, len(group.angles_deg)
    return {
        "zone": capital(row.zone), "where": at_places(group),
        "cut": with_unit(row.cut_s, "s") if row.choked_by else DASH, "last": with_unit(row.last_s, "s"),
        "volume": _copies(count) + number(row.volume_cm3), "lack": _copies(count) + number(row.lack_cm3),
        "choke": row.choked_by or "never had a way to the feeder",
    }  # fmt: skip


def _region_row(rank: int, group: Group[RegionRow]) -> TextRow:
    row, count = group.row, len(group.angles_deg)
    return {
        "rank": str(rank), "zone": capital(row.zone), "cause": capital(row.cause), "quantity": label(row.quantity),
        "worst": worst_words(row), "volume": _copies(count) + number(row.volume_cm3),
        "depth": depth_words(row), "lost": number(row.elongation_lost_pct, 2), "where": at_places(group),
    }  # fmt: skip


def _facts(summary: SolidSummary) -> tuple[tuple[str, str], ...]:
    """Return what two designs are held side by side by: words and value."""
    islands, regions = summary.islands, summary.regions
    worst = f"{capital(regions[0].zone)}: {regions[0].cause}" if regions else DASH
    largest = max(islands, key=lambda row: row.lack_cm3, default=None)
    most = f"{capital(largest.zone)}, {with_unit(largest.lack_cm3, 'cm3')}" if largest else DASH
    return (
        ("Liquid islands, every copy counted", str(len(islands))),
        ("Metal in them when they are cut off", with_unit(sum(row.volume_cm3 for row in islands), "cm3")),
        ("What they lack on freezing", with_unit(sum(row.lack_cm3 for row in islands), "cm3")),
        ("Island that lacks most", most),
        ("Zones of risk, every copy counted", str(len(regions))),
        ("Metal in these", with_unit(sum(row.volume_cm3 for row in regions), "cm3")),
        ("Heaviest zone of risk", worst),
    )


def islands_csv(summary: SolidSummary) -> str:
    """Return every liquid island as CSV text, units in the column names.

    Parameters
    ----------
    summary : SolidSummary
        What the solver says.

    Returns
    -------
    str
        CSV, comma and decimal point, lines ending in a line feed.
    """
    return _csv(ISLAND_COLUMNS, ((number, row) for number, row in enumerate(summary.islands, start=1)))


def regions_csv(summary: SolidSummary) -> str:
    """Return every zone of risk as CSV text, the heaviest first, units in the column names.

    Parameters
    ----------
    summary : SolidSummary
        What the solver says.

    Returns
    -------
    str
        CSV, comma and decimal point, lines ending in a line feed.
    """
    return _csv(REGION_COLUMNS, ((rank, row) for rank, row in enumerate(summary.regions, start=1)))


def _csv(columns: Sequence[str], rows: Iterable[tuple[int, IslandRow | RegionRow]]) -> str:
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(columns)
    for count, row in rows:
        writer.writerow([count, *(_cell(getattr(row, name)) for name in columns[1:])])
    return buffer.getvalue()


def _cell(value: str | float) -> str:
    if isinstance(value, str):
        return safe_text(value)
    known = rounded(value)
    return "" if known is None else f"{known:.{DIGITS}g}"
