"""Mesh files of the tool's parts: read like the wheel, in its unit, and moved with it onto its axis."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np

from castq.core.errors import Fault, InputError
from castq.files.case_parts import BodyRow, CaseParts, Drawing
from castq.files.mesh import read_mesh
from castq.geometry.axis import Axis
from castq.geometry.mesh import Mesh
from castq.screening.types import InputFile
from castq.thermal.tool import Body, Circuit, FeederHead, Plug, Point, Region, ToolParts, Tube

# A part this far beside the wheel, or outside these sizes, is in another unit or another frame [mm].
FAR_MM: Final = 150.0
SIZE_MM: Final = (3.0, 3000.0)


@dataclass(frozen=True, slots=True, eq=False)
class PartMeshes:
    """The mesh files of a case's parts.

    Attributes
    ----------
    meshes : dict of key of the case file to Mesh
        Still in the frame of the wheel's file [mm].
    inputs : tuple of InputFile
        The files, each once.
    paths : tuple of Path
        Where they stand.
    warnings : tuple of str
        What their reader had to say.
    """

    meshes: dict[str, Mesh]
    inputs: tuple[InputFile, ...]
    paths: tuple[Path, ...]
    warnings: tuple[str, ...]


def read_bodies(parts: CaseParts, wheel: Mesh, units: str, source: str) -> PartMeshes:
    """Read the mesh files of the parts.

    Parameters
    ----------
    parts : CaseParts
        What the case file says.
    wheel : Mesh
        The wheel as its file has it [mm].
    units : str
        Unit of the wheel's file; theirs too unless their format carries one.
    source : str
        Name of the case file, for messages.

    Raises
    ------
    InputError
        With the faults of every file.
    """
    meshes: dict[str, Mesh] = {}
    files: dict[tuple[str, str], tuple[InputFile, Path]] = {}
    warnings: list[str] = []
    faults: list[Fault] = []
    for drawing in (row.shape for row in (*parts.bodies, *parts.die) if isinstance(row.shape, Drawing)):
        try:
            read = read_mesh(drawing.path, units=units, body=drawing.body or None, wheel=False)
        except InputError as error:
            faults += [
                replace(fault, mend=f"{fault.mend} (named at {drawing.place} of {source})") for fault in error.faults
            ]
            continue
        faults += _misplaced(read.mesh, wheel, drawing, source)
        meshes[drawing.place] = read.mesh
        files[read.input.name, read.input.sha256] = read.input, drawing.path
        warnings += [f"{drawing.path.name}: {warning}" for warning in read.warnings]
    if faults:
        raise InputError(faults)
    inputs, paths = tuple(file for file, _ in files.values()), tuple(path for _, path in files.values())
    return PartMeshes(meshes, inputs, paths, tuple(dict.fromkeys(warnings)))


def _misplaced(mesh: Mesh, wheel: Mesh, drawing: Drawing, source: str) -> Iterator[Fault]:
    """Yield a fault when a part cannot belong to the wheel."""
    (low, high), (wheel_low, wheel_high) = mesh.bounds, wheel.bounds
    mend = "export wheel and part from one assembly, in one unit and one frame"
    apart = float(np.max(np.maximum(low - wheel_high, wheel_low - high)))
    largest = float(np.max(high - low))
    if apart > FAR_MM:
        found = f"'{drawing.path.name}' lies {apart:.0f} mm beside the wheel"
        yield Fault(source, drawing.place, found, "a part of its tool", mend)
    elif not SIZE_MM[0] <= largest <= SIZE_MM[1]:
        found = f"largest side of '{drawing.path.name}' is {largest:.3g} mm"
        yield Fault(source, drawing.place, found, f"{SIZE_MM[0]:g} to {SIZE_MM[1]:g} mm", mend)


def place_parts(parts: CaseParts, files: PartMeshes, axis: Axis, outboard: int) -> ToolParts:
    """Return the parts in the wheel's own frame.

    Parameters
    ----------
    parts : CaseParts
        What the case file says.
    files : PartMeshes
        The meshes.
    axis : Axis
        Where the wheel's axis lies in its file.
    outboard : {1, -1}
        Which way along the axis the outboard side looks.
    """

    def moved(point: Point) -> Point:
        x, y, z = axis.rotation @ (np.asarray(point) - axis.centre_mm)
        return float(x), float(y), float(z)

    def body(row: BodyRow) -> Body:
        if isinstance(row.shape, Region):
            return row.body(row.shape)
        return row.body(files.meshes[row.shape.place].moved(axis.rotation, axis.centre_mm))

    def circuit(given: Circuit) -> Circuit:
        shape = given.shape
        if isinstance(shape, Tube):
            return replace(given, shape=Tube(moved(shape.start_mm), moved(shape.end_mm), shape.bore_mm))
        if isinstance(shape, Plug):
            return replace(given, shape=Plug(moved(shape.tip_mm), moved(shape.outside_mm), shape.bore_mm))
        return given

    def head(given: FeederHead) -> FeederHead:
        return replace(given, foot_mm=moved(given.foot_mm))

    tool, gate = parts.tool, parts.tool.gate
    return replace(
        tool,
        circuits=tuple(map(circuit, tool.circuits)),
        bodies=tuple(map(body, parts.bodies)),
        die=tuple(map(body, parts.die)),
        feeders=tuple(map(head, tool.feeders)),
        gate=replace(gate, side=-outboard) if gate is not None and parts.gate_inboard else gate,
    )
