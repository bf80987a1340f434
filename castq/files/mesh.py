"""A wheel from a geometry file: read, checked, one body, in millimetres - or one sentence that says why not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from castq.core.errors import nearest
from castq.files.bodies import check_volume, choose_body, find_bodies
from castq.files.cad import read_cad
from castq.files.obj import read_obj
from castq.files.parts import UNIT_MM, UNIT_WINDOWS, Loaded
from castq.files.ply import read_ply
from castq.files.solids import Body
from castq.files.source import Source, read_source
from castq.files.stl import read_stl
from castq.files.threemf import read_3mf
from castq.geometry.mesh import Mesh
from castq.screening.types import InputFile

# Longest text a program writes for one facet [bytes], with room to spare; bounds the file before it is read.
_BYTES_PER_FACET = 400
_ALIAS = {"in": "inch"}

READERS: dict[str, Callable[[Source, int], Loaded]] = {
    ".stl": read_stl,
    ".ply": read_ply,
    ".obj": read_obj,
    ".3mf": read_3mf,
    ".step": read_cad,
    ".stp": read_cad,
    ".iges": read_cad,
    ".igs": read_cad,
}


@dataclass(frozen=True, slots=True, eq=False)
class MeshFile:
    """A checked mesh and what is known about the file it came from.

    Attributes
    ----------
    mesh : Mesh
        The body to screen, facing outward [mm].
    format : str
        For example "binary STL".
    units : str
        Unit the file was read in.
    units_proven : bool
        True when the size fits a wheel in exactly this unit, or the format carries the unit.
    warnings : tuple of str
        What was mended and what to look at.
    input : InputFile
        Name, sha256 and size of the file.
    bodies : tuple of str
        Size and name of each separate body, largest first.
    facets : int
        Facets of `mesh` [-].
    open_edges : int
        Edges of `mesh` where a facet is missing [-].
    """

    mesh: Mesh
    format: str
    units: str
    units_proven: bool
    warnings: tuple[str, ...]
    input: InputFile
    bodies: tuple[str, ...]
    facets: int
    open_edges: int


def read_mesh(
    path: Path,
    *,
    units: str | None = None,
    body: str | None = None,
    wheel: bool = True,
    max_facets: int = 5_000_000,
) -> MeshFile:
    """Return the one body of a geometry file in millimetres.

    Parameters
    ----------
    path : Path
        STL, PLY, OBJ, 3MF, STEP or IGES file.
    units : {"mm", "cm", "inch", "m"}, optional
        Unit of the file; only needed when the size does not tell.
    body : str, optional
        Number (from 1, largest first) or name of the body, for files with several.
    wheel : bool
        False for a part of the tool, which may have any size; `units` then holds unless the format carries a unit.
    max_facets : int
        Largest number of facets read [-].

    Raises
    ------
    InputError
        If the file is damaged, is not one closed body, or its unit cannot be told.
    """
    reader = READERS.get(path.suffix.lower())
    source = read_source(path, max_facets * _BYTES_PER_FACET)
    if reader is None:
        raise source.error(
            "",
            f"ending '{path.suffix}' is not a geometry file castq reads",
            ", ".join(READERS),
            "give the file its right ending or export one of these",
        )
    loaded = reader(source, max_facets)
    bodies, mended = find_bodies(source, loaded.parts)
    chosen = choose_body(source, bodies, body)
    checked = check_volume(source, chosen)
    unit, factor, proven, said = _unit(source, loaded, chosen, units) if wheel else _unit_of_part(loaded, units)
    mesh = chosen.mesh.scaled(factor)
    return MeshFile(
        mesh,
        loaded.format,
        unit,
        proven,
        (*loaded.warnings, *mended, *checked, *said),
        source.input,
        tuple(each.label for each in bodies),
        len(mesh.faces),
        chosen.open_edges,
    )


def _unit(source: Source, loaded: Loaded, body: Body, asked: str | None) -> tuple[str, float, bool, tuple[str, ...]]:
    """Return unit, its length [mm], whether it is proven, and warnings."""
    largest = float(np.ptp(body.mesh.vertices, axis=0).max())
    written, asked = asked, _ALIAS.get(asked.strip().lower(), asked.strip().lower()) if asked else None
    if asked and asked not in UNIT_MM:
        raise source.error(
            "--units",
            f"'{written}' is not a unit of length castq reads here",
            ", ".join(UNIT_MM),
            nearest(asked, list(UNIT_MM)),
        )
    fits = [unit for unit, (low, high) in UNIT_WINDOWS.items() if low <= largest <= high]
    warnings: tuple[str, ...] = ()
    if loaded.unit:
        unit, factor, proven = loaded.unit, loaded.unit_mm, True
        if asked and UNIT_MM[asked] != factor:
            warnings = (f"--units {asked} not used: the file itself says {unit}",)
    elif asked:
        unit, factor, proven = asked, UNIT_MM[asked], asked in fits
    elif fits:
        unit, factor, proven = fits[0], UNIT_MM[fits[0]], True
    else:
        raise _no_unit(source, largest)
    low, high = UNIT_WINDOWS["mm"]
    if not low <= largest * factor <= high:
        warnings += (
            f"not the size of a wheel: largest side {largest * factor:.4g} mm (read in {unit}), "
            f"a wheel has {low:g} to {high:g} mm",
        )
    return unit, factor, proven, warnings


def _unit_of_part(loaded: Loaded, asked: str | None) -> tuple[str, float, bool, tuple[str, ...]]:
    """Return unit, its length [mm], whether it is proven, and no warnings."""
    if loaded.unit:
        return loaded.unit, loaded.unit_mm, True, ()
    unit = asked if asked in UNIT_MM else "mm"
    return unit, UNIT_MM[unit], False, ()


def _no_unit(source: Source, largest: float) -> Exception:
    windows = ", ".join(f"{low:g} to {high:g} in {unit}" for unit, (low, high) in UNIT_WINDOWS.items())
    return source.error(
        "",
        f"largest side is {largest:.4g}, which is the size of a wheel in no unit",
        windows,
        "give the unit with --units mm, cm, inch or m",
    )
