"""From whatever the user names to a case that can be screened: case file, shape, or section table."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from castq.core.errors import input_error
from castq.core.quantities import parse_quantity
from castq.files.case import CaseFile, build_case, case_from_source, read_case
from castq.files.case_bodies import place_parts, read_bodies
from castq.files.case_design import FACET_MM
from castq.files.case_shape import VOXEL_MM
from castq.files.mesh import MeshFile, read_mesh
from castq.files.sections import read_sections
from castq.screening.levers import Measuring
from castq.screening.shape import WheelShape, measure_shape
from castq.screening.types import Case

if TYPE_CHECKING:
    from castq.geometry.wheel_design import WheelDesign

TABLES = {".csv", ".xlsx"}
SHAPES = {".stl", ".ply", ".obj", ".3mf", ".step", ".stp", ".iges", ".igs"}


@dataclass(frozen=True, slots=True, eq=False)
class Design:
    """A case, its measured shape when it came from one, the files it was read from, and how the shape came about.

    Attributes
    ----------
    case : Case
        Ready to be screened.
    shape : WheelShape or None
        The measured shape; None for a section table.
    inputs : tuple of Path
        Files it was read from.
    wheel : WheelDesign or None
        The wheel's measures, when the case gives them instead of a shape file.
    measuring : Measuring or None
        How the shape was measured; None for a section table.
    """

    case: Case
    shape: WheelShape | None
    inputs: tuple[Path, ...]
    wheel: WheelDesign | None = None
    measuring: Measuring | None = None


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
    loaded = _loaded(case_file, units or case_file.units, body or case_file.body)
    drawn = read_bodies(case_file.parts, loaded.mesh, loaded.units, source.name)
    voxel_mm = _voxel_mm(voxel, case_file.voxel_mm)
    way = Measuring(voxel_mm, case_file.axis, case_file.outboard, case_file.overrides, FACET_MM)
    shape = measure_shape(
        loaded.mesh, voxel_mm=voxel_mm, axis=way.axis, outboard=way.outboard, overrides=way.overrides,
        source=path.name,
    )  # fmt: skip
    facts = {**shape.facts, "units": loaded.units, "facets": loaded.facets, "format": loaded.format}
    parts = place_parts(case_file.parts, drawn, shape.axis, shape.zones.outboard)
    own = () if case_file.wheel else (loaded.input,)
    inputs = tuple(dict.fromkeys((*own, *drawn.inputs)))
    warnings = (*loaded.warnings, *drawn.warnings, *shape.warnings)
    case = build_case(case_file, shape.sections, facts, inputs, warnings, parts)
    return Design(case, shape, (source, path, *drawn.paths), case_file.wheel, way)


def _loaded(case_file: CaseFile, units: str, body: str) -> MeshFile:
    """Return the shape: read from its file, or built from the wheel's measures."""
    if case_file.wheel is None:
        return read_mesh(case_file.geometry, units=units or None, body=body or None)
    source = case_file.geometry.name
    for given, what in ((units, "a unit"), (body, "a body")):
        if given:
            raise input_error(source, "wheel", f"stands beside {what} of a shape file", "one of the two", "remove one")
    # The solid modeller is slow to load and needed only here.
    from castq.geometry.wheel import build_wheel

    mesh = build_wheel(case_file.wheel, FACET_MM)
    return MeshFile(
        mesh, "wheel measures", "mm", units_proven=True, warnings=(), input=case_file.inputs[0], bodies=(),
        facets=len(mesh.faces), open_edges=0,
    )  # fmt: skip
