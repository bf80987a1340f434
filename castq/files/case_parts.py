"""What a case file says about the die beside its walls: cooling, cores, inserts, chills, die parts, feeding, cycle."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from castq.core.errors import Fault
from castq.core.toml_table import Table
from castq.files.case_cooling import circuit_warnings, point, read_circuits
from castq.files.case_cycle import check_cycle, cycle_warnings, read_cycle
from castq.files.case_shape import span
from castq.files.case_tables import INTERFACE, file_at, known_material, read_quantities
from castq.geometry.mesh import Mesh
from castq.materials import Alloy, DieMaterial, die_material
from castq.screening.types import Tool
from castq.thermal.tool import Body, FeederHead, Gate, Region, ToolParts

PART_TABLES: Final = ("cooling", "core", "insert", "chill", "die_part", "feeder", "gate", "cycle")
# Material of a body when the case names none, and why; None when there is no usual one.
MATERIALS: Final[dict[str, tuple[str, str] | None]] = {
    "core": ("resin-bonded silica sand", "usual core"),
    "insert": None,
    "chill": ("copper", "usual chill"),
    "die_part": None,
}
SIDES: Final = ("outboard", "inboard")


@dataclass(frozen=True, slots=True, eq=False)
class Drawing:
    """A mesh file that is still to be read, the body in it to take (empty: the only one), and its key for messages."""

    path: Path
    body: str
    place: str


@dataclass(frozen=True, slots=True, eq=False)
class BodyRow:
    """A body as its row says it; fields as in `castq.thermal.tool.Body`, its shape perhaps not read yet."""

    name: str
    shape: Region | Drawing
    material: DieMaterial
    start_temp_c: float | None
    contact_w_m2k: float | None
    gap_w_m2k: float | None

    def body(self, shape: Mesh | Region) -> Body:
        """Return the body in the shape that has been read for it [mm]."""
        return Body(self.name, shape, self.material, self.start_temp_c, self.contact_w_m2k, self.gap_w_m2k)


@dataclass(frozen=True, slots=True, eq=False)
class CaseParts:
    """Parts of the tool before the wheel is measured.

    Attributes
    ----------
    tool : ToolParts
        Circuits, feeders, gate and cycle; places in the frame of the geometry file.
    bodies, die : tuple of BodyRow
        Cores, inserts and chills; drawn parts of the die.
    gate_inboard : bool
        True when the gate looks to the inboard side.
    """

    tool: ToolParts = field(default_factory=ToolParts)
    bodies: tuple[BodyRow, ...] = ()
    die: tuple[BodyRow, ...] = ()
    gate_inboard: bool = False

    def __bool__(self) -> bool:
        """Whether there is any part."""
        tool = self.tool
        return bool(self.bodies or self.die or tool.circuits or tool.feeders or tool.gate or tool.cycle)


def read_parts(top: Table, folder: Path, used: list[str], tool: Tool) -> CaseParts:
    """Return the parts of the tool; faults are noted in the table.

    Parameters
    ----------
    top : Table
        The case file.
    folder : Path
        Its folder; mesh files are relative to it.
    used : list of str
        Receives the defaults taken.
    tool : Tool
        Route and die material.
    """
    cycle = read_cycle(top, used, tool.route)
    circuits = read_circuits(top, used)
    bodies = tuple(row for key in ("core", "insert", "chill") for row in _bodies(top, key, folder, used, tool))
    die = tuple(_bodies(top, "die_part", folder, used, tool))
    gate, inboard = _gate(top, used, tool.route)
    feeders = _feeders(top, tool.route)
    parts = CaseParts(ToolParts(circuits, feeders=feeders, gate=gate, cycle=cycle), bodies, die, inboard)
    _check_names(top)
    return parts


def check_parts(parts: CaseParts, alloy: Alloy, source: str) -> Iterator[Fault]:
    """Yield what contradicts the alloy, or one part another.

    Parameters
    ----------
    parts : CaseParts
        As read.
    alloy : Alloy
        What is poured.
    source : str
        File name, for the message.
    """
    for row in (*parts.bodies, *parts.die):
        if row.start_temp_c is not None and row.start_temp_c >= alloy.end_of_freezing_c:
            yield Fault(
                source, f"start_temp of '{row.name}'", f"{row.start_temp_c:g} degC: {alloy.id} is solid only at "
                f"{alloy.end_of_freezing_c:g} degC", "a part below that", "lower it, or check its unit",
            )  # fmt: skip
    yield from check_cycle(parts.tool, source)


def part_warnings(parts: CaseParts, *, meshed: bool) -> Iterator[str]:
    """Yield what is possible but out of the ordinary, or does not count.

    Parameters
    ----------
    parts : CaseParts
        As read.
    meshed : bool
        False when the case has a section table instead of a shape.
    """
    if parts and not meshed:
        yield "parts of the tool count only at solid depth, which needs a shape: they are left out with a section table"
    yield from circuit_warnings(parts.tool.circuits)
    yield from cycle_warnings(parts.tool)


def _bodies(top: Table, key: str, folder: Path, used: list[str], tool: Tool) -> Iterator[BodyRow]:
    """Yield the bodies of one kind that are without fault."""
    for row in top.tables(key):
        row.require(("name",))
        name = row.text("name", max_length=60)
        shape = _body_shape(row, folder, region=key != "die_part")
        material = _material(row, key, used, tool)
        start = row.quantity("start_temp", "temperature_c", -30.0, 1000.0)
        films = read_quantities(row, {k: entry for k, entry in INTERFACE.items() if row.has(k)})
        row.taken |= set(INTERFACE)
        contact, gap = films.get("contact_coefficient"), films.get("gap_coefficient")
        if contact is not None and gap is not None and gap > contact:
            row.fault("gap_coefficient", "is above the one in contact", "less heat across a gap", "exchange the two")
        row.close()
        if name is not None and shape is not None:
            yield BodyRow(name, shape, material, start, contact, gap)


def _material(row: Table, key: str, used: list[str], tool: Tool) -> DieMaterial:
    """Return the material of a body, the usual one of its kind where it names none."""
    usual = MATERIALS[key]
    if row.has("material"):
        return known_material(row, "material", die_material, tool.die.id)
    row.taken.add("material")
    if key == "insert":
        row.fault("material", "is missing", "a die material", 'add for example material = "CuBe C17200"')
    name, why = usual or (tool.die.id, "as the die")
    if key != "insert":
        used.append(f"{row.at('material')} = {name} ({why})")
    return die_material(name)


def _body_shape(row: Table, folder: Path, *, region: bool) -> Region | Drawing | None:
    """Return the shape of a body: a mesh file, or a region where that is allowed."""
    path = file_at(row, "geometry", folder)
    body = row.text("body", max_length=100) or ""
    spans = {key: span(row, key, low) for key, low in (("radius", 0.0), ("height", -600.0))} if region else {}
    given = [key for key in spans if row.has(key)]
    if row.has("geometry"):
        for key in given:
            row.fault(key, "stands beside geometry", "a mesh file or a region", "remove one")
        return None if path is None else Drawing(path, body, row.at("geometry"))
    if row.has("body"):
        row.fault("body", "stands without geometry", "a mesh file", "add geometry, or remove it")
    if not given:
        wanted = "a mesh file, or a region of radius and height" if region else "a mesh file"
        row.fault("geometry", "is missing", wanted, 'add geometry = "part.stl"')
        return None
    row.require(spans)
    radius, height = spans["radius"], spans["height"]
    return Region(radius, height) if radius and height else None


def _feeders(top: Table, route: str) -> tuple[FeederHead, ...]:
    """Return the feeder heads of a gravity casting."""
    heads = []
    rows = top.tables("feeder")
    if rows and route != "gravity":
        top.fault(
            "feeder", "a low-pressure casting is fed through its gate", "", 'remove it, or write route = "gravity"'
        )
    for row in rows:
        row.require(("name", "foot", "diameter", "height"))
        name, foot = row.text("name", max_length=60), point(row, "foot")
        diameter = row.quantity("diameter", "length_mm", 5.0, 400.0)
        height = row.quantity("height", "length_mm", 5.0, 500.0)
        row.close()
        if name is not None and foot is not None and diameter is not None and height is not None:
            heads.append(FeederHead(name, foot, diameter, height))
    return tuple(heads)


def _gate(top: Table, used: list[str], route: str) -> tuple[Gate | None, bool]:
    """Return the gate of a low-pressure casting, and whether it looks to the inboard side."""
    table = top.table("gate")
    if table is None:
        return None, False
    if route != "low-pressure":
        top.fault("gate", "a gravity casting is fed by its heads", "", 'write [[feeder]], or route = "low-pressure"')
    table.require(("radius",))
    radius = table.quantity("radius", "length_mm", 3.0, 200.0)
    side = table.text("side", SIDES)
    if not table.has("side"):
        used.append(f"{table.at('side')} = outboard (wheels are cast face down; common practice)")
    table.close()
    return (None if radius is None else Gate(radius)), side == "inboard"


def _check_names(top: Table) -> None:
    """Note a fault for each name that two parts share: reports and levers call parts by name."""
    bearer: dict[str, str] = {}
    for key in PART_TABLES:
        rows = top.data.get(key)
        for number, row in enumerate(rows if type(rows) is list else (), 1):
            name, place = row.get("name") if type(row) is dict else None, f"{key}[{number}]"
            if type(name) is str and name in bearer:
                top.fault(f"{place}.name", f"{bearer[name]} has the same name", "a name of its own", "rename one")
            elif type(name) is str:
                bearer[name] = place
