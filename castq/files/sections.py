"""The section table: one row a zone of the wheel, read as text first, all faults of a file told at once."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path

from castq.core.errors import Fault, InputError, nearest
from castq.core.quantities import KINDS
from castq.files.cells import Measure, mixed_decimals, odd_character, read_measure
from castq.files.csvrows import MOST_ROWS, Row
from castq.files.tables import Table, read_table
from castq.geometry.roles import ROLES
from castq.screening.types import InputFile, Section

GATE = "gate"


# Walls of cast wheels and their tools lie well inside these limits; outside them the unit is wrong. Practice.
MEASURES: dict[str, Measure] = {
    "section": Measure("length_mm", 2.0, 200.0),
    "wall": Measure("length_mm", 2.0, 200.0),
    "choke": Measure("length_mm", 2.0, 200.0),
    "typical": Measure("length_mm", 2.0, 200.0),
    "feed_distance": Measure("length_mm", 1.0, 800.0),
    "volume": Measure("volume_cm3", 0.1, 20000.0),
}
NEEDED = ("zone", "section", "feeds_from")
COLUMNS = ("zone", "role", "feeds_from", *MEASURES, "note")


def read_sections(path: Path, *, sheet: str | None = None) -> tuple[tuple[Section, ...], tuple[str, ...], InputFile]:
    """Return the zones of a section table, warnings, and the stamp of the file.

    Columns: zone, section and feeds_from; role, wall, choke, typical, feed_distance, volume and note may be left
    out. A measure carries its unit in the cell (`12 mm`) or in the header (`section_mm`). A decimal comma is read
    where it can mean nothing else; a file that uses both comma and point is refused.

    Parameters
    ----------
    path : Path
        CSV or XLSX file.
    sheet : str, optional
        Sheet of a workbook.

    Raises
    ------
    InputError
        With every fault of the table.
    """
    table = read_table(path, sheet)
    columns, units, warnings = _columns(table)
    faults = list(table.faults)
    rows, repeated = _without_repeats(table.rows)
    warnings += repeated
    sections = []
    for row in rows:
        cells = {name: row.cells[index] for name, index in columns.items()}
        section, wrong = _section(table, row.number, cells, units)
        faults += wrong
        if section is not None:
            sections.append((row.number, section))
    numbers = [(row.number, row.cells[columns[name]]) for row in rows for name in MEASURES if name in columns]
    faults += mixed_decimals(numbers, table.source.name)
    faults += _name_faults(
        table, [(row.number, row.cells[columns["zone"]], row.cells[columns["feeds_from"]]) for row in rows]
    )
    if not faults:
        faults += _feeding_faults(table, sections)
    if faults:
        raise InputError(sorted(faults, key=_row_number))
    return tuple(section for _, section in sections), (*table.warnings, *warnings), table.source.input


def _row_number(fault: Fault) -> int:
    found = re.match(r"row (\d+)", fault.place)
    return int(found.group(1)) if found else MOST_ROWS


def _columns(table: Table) -> tuple[dict[str, int], dict[str, str], tuple[str, ...]]:
    """Return where each column is, the unit each header carries, and what was read differently from how it stands."""
    columns: dict[str, int] = {}
    units: dict[str, str] = {}
    faults, renamed = [], []
    for index, written in enumerate(table.header):
        name, unit = _split_header(written)
        found, mend = "", "remove or rename one"
        if name in columns:
            found = f"header '{written}' is there twice"
        elif name not in COLUMNS:
            found, mend = f"header '{written}' is not a column castq reads", nearest(name, COLUMNS)
        if found:
            expected = "each column once" if name in columns else ""
            faults.append(Fault(table.source.name, f"column {index + 1}", found, expected, mend))
        columns.setdefault(name, index)
        if unit:
            units[name] = unit
        if written not in (name, f"{name}_{unit}"):
            renamed.append(f"'{written}' as {name}" + f" [{unit}]" * bool(unit))
    missing = [name for name in NEEDED if name not in columns]
    if missing:
        found, mend = "columns missing: " + ", ".join(missing), "the first row must be the header"
        faults.append(Fault(table.source.name, "header", found, "zone, section, feeds_from", mend))
    if faults:
        raise InputError(faults)
    return columns, units, (("header read: " + ", ".join(renamed),) if renamed else ())


def _split_header(written: str) -> tuple[str, str]:
    """Return the column name and the unit in a header such as `section_mm`, `Section (mm)` or `section [mm]`."""
    text = re.sub(r"[\s_-]+", "_", written.strip().lower())
    match = re.fullmatch(r"(.+?)_?[\[(]_?([^\[\]()]+?)_?[\])]", text) or re.fullmatch(r"(.+)_([^_]+)", text)
    if match and match.group(1) in MEASURES:
        units = {unit.lower(): unit for unit in KINDS[MEASURES[match.group(1)].kind].units}
        if match.group(2) in units:
            return match.group(1), units[match.group(2)]
    return text, ""


def _without_repeats(rows: Sequence[Row]) -> tuple[list[Row], tuple[str, ...]]:
    seen: dict[tuple[str, ...], int] = {}
    kept, warnings = [], []
    for row in rows:
        if row.cells in seen:
            warnings.append(f"row {row.number} repeats row {seen[row.cells]}; left out")
        else:
            seen[row.cells] = row.number
            kept.append(row)
    return kept, tuple(warnings)


def _section(
    table: Table, number: int, cells: Mapping[str, str], units: Mapping[str, str]
) -> tuple[Section | None, list[Fault]]:
    """Return one zone, or None with the faults of its row."""
    faults: list[Fault] = []
    values: dict[str, float] = {}
    for name, measure in MEASURES.items():
        try:
            values[name] = read_measure(
                cells.get(name, ""), measure, units.get(name, ""), table.source.name, f"row {number}, {name}"
            )
        except InputError as error:
            faults += error.faults
    faults += _text_faults(table, number, cells)
    zone = cells["zone"]
    role = cells.get("role", "") or zone
    if zone and role not in ROLES:
        found = f"role '{role}' is not one castq knows" if cells.get("role") else f"zone '{zone}' has no role"
        faults.append(Fault(table.source.name, f"row {number}, role", found, ", ".join(ROLES), nearest(role, ROLES)))
    if values.get("choke", 0.0) > values.get("section", float("inf")):
        faults.append(
            Fault(
                table.source.name,
                f"row {number}, choke",
                f"{values['choke']:g} mm is thicker than the section, {values['section']:g} mm",
                "the thinnest station on the way through",
                "swap the two or mend one",
            )
        )
    if faults:
        return None, faults
    wall = values["section"] if values["wall"] != values["wall"] else values["wall"]
    choke = wall if values["choke"] != values["choke"] else values["choke"]
    return Section(
        zone,
        role,
        values["section"],
        wall,
        choke,
        values["volume"],
        cells["feeds_from"],
        values["feed_distance"],
        values["typical"],
    ), []


def _text_faults(table: Table, number: int, cells: Mapping[str, str]) -> list[Fault]:
    """Return what is wrong with the cells that must not be empty, and with characters nobody can see."""
    faults = []
    for name in NEEDED:
        if not cells[name]:
            faults.append(Fault(table.source.name, f"row {number}, {name}", "cell is empty", "a value", "fill it in"))
    for name in ("zone", "role", "feeds_from"):
        hidden = next((c for c in cells.get(name, "") if not c.isprintable()), "")
        if hidden:
            faults.append(
                Fault(
                    table.source.name,
                    f"row {number}, {name}",
                    f"holds {odd_character(hidden)}",
                    "characters one can see",
                    "type the name again",
                )
            )
    if cells["zone"].lower() == GATE:
        faults.append(
            Fault(
                table.source.name,
                f"row {number}, zone",
                "'gate' is the inlet, not a zone",
                "another name",
                "rename the zone",
            )
        )
    return faults


def _name_faults(table: Table, names: Sequence[tuple[int, str, str]]) -> list[Fault]:
    """Return zones there twice, and feeders that are no zone, of (row number, zone, feeder)."""
    faults: list[Fault] = []
    first: dict[str, int] = {}
    known = [GATE, *(zone for _, zone, _ in names)]
    for number, zone, feeder in names:
        key = zone.lower()
        if key in first:
            faults.append(
                Fault(
                    table.source.name,
                    f"row {number}, zone",
                    f"'{zone}' is in row {first[key]} already",
                    "each zone once",
                    "rename one or remove it",
                )
            )
        first.setdefault(key, number)
        if feeder and feeder not in known and not table.faults:
            faults.append(
                Fault(
                    table.source.name,
                    f"row {number}, feeds_from",
                    f"'{feeder}' is no zone of this table",
                    f"a zone or {GATE}",
                    nearest(feeder, known),
                )
            )
    return faults


def _feeding_faults(table: Table, sections: Sequence[tuple[int, Section]]) -> list[Fault]:
    """Return feeding paths that never come to the gate: each loop once."""
    feeder = {section.zone: section.feeds_from for _, section in sections}
    row_of = {section.zone: number for number, section in sections}
    faults, done = [], {GATE}
    for start in list(feeder):
        zone, path = start, list[str]()
        while zone not in done and zone not in path:
            path.append(zone)
            zone = feeder[zone]
        if zone in path:
            loop = path[path.index(zone) :]
            faults.append(
                Fault(
                    table.source.name,
                    f"row {row_of[loop[0]]}, feeds_from",
                    "zones feed each other in a loop: " + " <- ".join([*loop, loop[0]]),
                    "a path to the gate",
                    f"let one of them be fed from {GATE} or from another zone",
                )
            )
        done.update(path)
    if GATE not in feeder.values():
        faults.append(
            Fault(
                table.source.name,
                "feeds_from",
                "no zone is fed from the gate",
                "at least one",
                f"write {GATE} where the metal comes in",
            )
        )
    return faults
