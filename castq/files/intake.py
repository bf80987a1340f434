"""From whatever the user names to a case that can be screened: case file, shape, or section table."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from castq.core.errors import input_error
from castq.core.quantities import parse_quantity
from castq.files.case import CaseFile, build_case, case_from_source, read_case
from castq.files.case_shape import VOXEL_MM
from castq.files.mesh import read_mesh
from castq.files.sections import read_sections
from castq.screening.shape import WheelShape, measure_shape
from castq.screening.types import Case

TABLES = {".csv", ".xlsx"}
SHAPES = {".stl", ".ply", ".obj", ".3mf", ".step", ".stp", ".iges", ".igs"}


@dataclass(frozen=True, slots=True, eq=False)
class Design:
    """A case, its measured shape when it came from one, and the files it was read from."""

    case: Case
    shape: WheelShape | None
    inputs: tuple[Path, ...]


def read_design(source: Path, *, alloy: str = "", units: str = "", body: str = "", voxel: str = "") -> Design:
    """Read a design.

    Parameters
    ----------
    source : Path
        Case file (.toml), shape or section table.
    alloy : str
        Alloy, needed unless the source is a case file; replaces that of a case file.
    units, body, voxel : str
        What replaces or completes the case file: unit of the shape, body of the file, voxel size with its unit.

    Returns
    -------
    Design
        Ready to be screened.

    Raises
    ------
    InputError
        With every fault found in the source.
    """
    check_source(source)
    suffix = source.suffix.lower()
    if suffix == ".toml":
        case_file = read_case(source, alloy=alloy)
    elif suffix in TABLES | SHAPES:
        if not alloy:
            raise input_error(
                source.name, "--alloy", "the alloy is not given", "an alloy name", "add for example --alloy AlSi7Mg0.3"
            )
        case_file = case_from_source(source, alloy=alloy, table=suffix in TABLES)
    else:
        raise input_error(
            source.name,
            "",
            f"'{suffix or 'no ending'}' is not a kind of file castq reads",
            "a case file (.toml), a shape or a section table",
            "use one of: .toml " + " ".join(sorted(SHAPES | TABLES)),
        )
    if case_file.section_table is not None:
        sections, warnings, used = read_sections(case_file.section_table)
        case = build_case(case_file, sections, {}, (used,), warnings)
        return Design(case, None, (source, case_file.section_table))
    return _from_shape(case_file, source, units, body, voxel)


def check_source(source: Path) -> None:
    """Refuse a source that is not there or is a folder, whatever its ending.

    Parameters
    ----------
    source : Path
        What the user named.

    Raises
    ------
    InputError
        If it is missing or a folder.
    """
    name = source.name or str(source)
    if os.path.isdir(source):
        raise input_error(name, "", "is a folder, not a file", "one file", "give the file inside it")
    if not os.path.exists(source):
        raise input_error(name, "", "there is no such file", "", f"check the path {source}")


def _voxel_mm(voxel: str, from_case: float) -> float:
    """Return the voxel size of the command line, else that of the case file [mm]."""
    if not voxel:
        return from_case
    value = parse_quantity(voxel, "length_mm", "command line", "--voxel")
    low, high = VOXEL_MM
    if not low <= value <= high:
        found, allowed = f"{value:g} mm is out of range", f"{low:g} to {high:g} mm"
        raise input_error("command line", "--voxel", found, allowed, 'give for example --voxel "2 mm"')
    return value


def _from_shape(case_file: CaseFile, source: Path, units: str, body: str, voxel: str) -> Design:
    path = case_file.geometry
    loaded = read_mesh(path, units=units or case_file.units or None, body=body or case_file.body or None)
    voxel_mm = _voxel_mm(voxel, case_file.voxel_mm)
    shape = measure_shape(
        loaded.mesh, voxel_mm=voxel_mm, axis=case_file.axis, outboard=case_file.outboard,
        overrides=case_file.overrides, source=path.name,
    )  # fmt: skip
    facts = {**shape.facts, "units": loaded.units, "facets": loaded.facets, "format": loaded.format}
    case = build_case(case_file, shape.sections, facts, (loaded.input,), (*loaded.warnings, *shape.warnings))
    return Design(case, shape, (source, path))
