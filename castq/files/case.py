"""The case file: one design in TOML, read strictly, every fault told at once, every default listed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from castq.core.errors import Fault, InputError, input_error, plain
from castq.core.toml_table import Table, parse_toml
from castq.files.case_checks import check_limits, check_process, check_treatment, warnings_for
from castq.files.case_defaults import DEFAULTS, alloy_defaults, fill
from castq.files.case_design import read_wheel
from castq.files.case_parts import CaseParts, check_parts, part_warnings, read_parts
from castq.files.case_shape import Shape, read_shape
from castq.files.case_tables import file_at, read_calibration, read_limits, read_melt, read_tool, read_treatment
from castq.files.source import read_source
from castq.materials import Alloy, alloys, find, load_alloys
from castq.screening.types import Calibration, Case, InputFile, Limit, Melt, Section, Tool, Treatment
from castq.thermal.tool import ToolParts

if TYPE_CHECKING:
    from castq.geometry.wheel_design import WheelDesign
    from castq.geometry.zones import ZoneBox

MAX_BYTES: Final = 1_000_000
TABLES: Final = ("shape", "process", "melt", "heat_treatment", "limits", "calibration")
# Stands in for an alloy that is not known, so that the rest of the file can still be checked.
STAND_IN: Final = "AlSi7Mg0.3"


@dataclass(frozen=True, slots=True, eq=False)
class CaseFile:
    """A case as its file says it, before its shape is measured.

    Attributes
    ----------
    name : str
        Name of the design.
    geometry : Path
        Shape file; the section table, or the case file itself, when the shape is given by one of them instead.
    section_table : Path or None
        Section table, when the case has one instead of a shape.
    alloy : Alloy
        The alloy.
    shape : Shape
        How to read the geometry file.
    melt, tool, treatment, limits, calibration : Melt, Tool, Treatment, tuple of Limit, Calibration
        What the file says, with defaults.
    parts : CaseParts
        What the tool has beside its walls.
    wheel : WheelDesign or None
        The wheel, when the case gives its measures instead of a shape.
    inputs : tuple of InputFile
        The case file itself and the tables it names; empty when there is no case file.
    defaults_used : tuple of str
        Each default taken, as "key = value (why)".
    warnings : tuple of str
        What is possible but out of the ordinary.
    """

    name: str
    geometry: Path
    section_table: Path | None
    alloy: Alloy
    shape: Shape
    melt: Melt
    tool: Tool
    treatment: Treatment
    limits: tuple[Limit, ...]
    calibration: Calibration
    parts: CaseParts
    wheel: WheelDesign | None
    inputs: tuple[InputFile, ...]
    defaults_used: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def units(self) -> str:
        """Unit of the shape file; empty when not given."""
        return self.shape.units

    @property
    def body(self) -> str:
        """Body of the shape file to take; empty when not given."""
        return self.shape.body

    @property
    def voxel_mm(self) -> float:
        """Voxel size [mm]."""
        return self.shape.voxel_mm

    @property
    def axis(self) -> tuple[float, float, float] | None:
        """Direction of the wheel axis; None when it is to be found [-]."""
        return self.shape.axis

    @property
    def outboard(self) -> int | None:
        """Which way along the axis the outboard face looks, 1 or -1; None when it is to be found [-]."""
        return self.shape.outboard

    @property
    def overrides(self) -> tuple[ZoneBox, ...]:
        """Zones given by hand."""
        return self.shape.overrides


def read_case(path: Path, *, alloy: str = "") -> CaseFile:
    """Return a case file.

    Parameters
    ----------
    path : Path
        TOML file; paths inside it are relative to its folder.
    alloy : str
        Alloy that replaces the one in the file; empty to keep it.

    Raises
    ------
    InputError
        With every fault of the file.
    """
    source = read_source(path, MAX_BYTES)
    data = parse_toml(source.data, source.name)
    return _read(data, path, source.name, (source.input,), alloy)


def case_from_source(path: Path, *, alloy: str, table: bool = False) -> CaseFile:
    """Return the case of a shape or section table alone: everything but the alloy is a default.

    Parameters
    ----------
    path : Path
        The shape, or the section table.
    alloy : str
        Id or alias of the alloy.
    table : bool
        True for a section table.

    Raises
    ------
    InputError
        If the file is missing or the alloy not known.
    """
    data = {"name": plain(path.stem, 100) or "wheel", "section_table" if table else "geometry": path.name}
    return _read(data, path, path.name, (), alloy)


def build_case(
    case_file: CaseFile,
    sections: Sequence[Section],
    shape: Mapping[str, Any],
    inputs: Sequence[InputFile],
    warnings: Sequence[str],
    parts: ToolParts | None = None,
) -> Case:
    """Return the case ready to be screened.

    Parameters
    ----------
    case_file : CaseFile
        What the case file says.
    sections : sequence of Section
        The zones, from the shape or the section table.
    shape : mapping
        Facts about the shape, for the report.
    inputs : sequence of InputFile
        Files behind the sections.
    warnings : sequence of str
        What their readers had to say.
    parts : ToolParts, optional
        What the tool has beside its walls, in the wheel's own frame.
    """
    if not sections:
        raise input_error(case_file.geometry.name, "", "holds no zones", "at least one zone", "check the file")
    return Case(
        name=case_file.name,
        alloy=case_file.alloy,
        sections=tuple(sections),
        melt=case_file.melt,
        tool=case_file.tool,
        treatment=case_file.treatment,
        limits=case_file.limits,
        inputs=(*case_file.inputs, *inputs),
        defaults_used=case_file.defaults_used,
        warnings=(*case_file.warnings, *warnings),
        shape=dict(shape),
        calibration=case_file.calibration,
        parts=parts or ToolParts(),
    )


def _read(data: Mapping[str, Any], path: Path, source: str, inputs: tuple[InputFile, ...], alloy: str) -> CaseFile:
    """Read all tables, then raise all faults together."""
    faults: list[Fault] = []
    used: list[str] = []
    top = Table(data, source, "", faults)
    name = top.text("name", max_length=100)
    if not top.has("name"):
        name = path.stem
        used.append(f"name = {name} (file name)")
    geometry, section_table = _paths(top, path)
    wheel = top.table("wheel")
    design = None if wheel is None else read_wheel(wheel, name or "wheel", used)
    chosen, more = _alloy(top, path.parent, alloy)
    tables = {key: top.table(key) or Table({}, source, key, faults) for key in TABLES}

    usual = (*DEFAULTS, *alloy_defaults(chosen))
    process = fill(tables["process"], [d for d in usual if not d.only], used)
    tool = read_tool(process, used)
    parts = read_parts(top, path.parent, used, tool)
    top.close()
    melt = read_melt(fill(tables["melt"], usual, used), process)
    heat = fill(tables["heat_treatment"], [d for d in usual if not d.only], used)
    treatment = read_treatment(heat, used)
    limits = read_limits(tables["limits"], treatment.temper, used)
    calibration = read_calibration(tables["calibration"])
    shape = read_shape(fill(tables["shape"], usual if section_table is None else (), used))

    faults += check_process(chosen, melt, tool, source)
    faults += check_treatment(chosen, treatment, source)
    faults += check_limits(limits, source)
    faults += check_parts(parts, chosen, source)
    if faults:
        raise InputError(faults)
    return CaseFile(
        name or "", geometry, section_table, chosen, shape, melt, tool, treatment, limits, calibration, parts,
        design, (*inputs, *more), tuple(used),
        (*warnings_for(chosen, melt, tool, treatment), *part_warnings(parts, meshed=section_table is None)),
    )  # fmt: skip


def _paths(top: Table, source: Path) -> tuple[Path, Path | None]:
    """Return shape file and section table; exactly one of them, or the wheel's measures, is given in the file."""
    given_files = {key: file_at(top, key, source.parent) for key in ("geometry", "section_table")}
    found = {key: path for key, path in given_files.items() if path is not None}
    given = [key for key in ("geometry", "section_table", "wheel") if top.has(key)]
    if len(given) > 1:
        top.fault(given[1], f"stands beside {given[0]}", "one of the two", "remove one")
    elif not given:
        top.fault("geometry", "is missing", "a shape file, a section table or a wheel", 'add geometry = "wheel.stl"')
    table = found.get("section_table")
    return found.get("geometry", table or source), table


def _alloy(top: Table, folder: Path, override: str) -> tuple[Alloy, tuple[InputFile, ...]]:
    """Return the alloy, and the plant's own alloy table when the case names one."""
    known = dict(alloys())
    inputs: tuple[InputFile, ...] = ()
    own = top.text("alloy_table", max_length=1000)
    name = top.text("alloy")
    try:
        if own is not None:
            known |= load_alloys(folder / own)
            inputs = (read_source(folder / own, MAX_BYTES).input,)
        if override or name is not None:
            return find(override or str(name), known, "alloy"), inputs
    except InputError as exc:
        for fault in exc.faults:
            place = "alloy" if fault.source == "alloy" else "alloy_table"
            said = fault.found if place == "alloy" else str(fault)
            top.fault("--alloy" if override and place == "alloy" else place, said, "", fault.mend)
    if not top.has("alloy") and not override:
        top.fault("alloy", "is missing", "an alloy name", f'add alloy = "{STAND_IN}"')
    return alloys()[STAND_IN], inputs
