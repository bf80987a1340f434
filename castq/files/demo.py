"""The demo: an invented wheel with two spoke variants, written as shapes and case files (all SYNTHETIC)."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from castq.files.atomic import write_bytes, write_text
from castq.geometry.mesh import Mesh
from castq.geometry.wheel import build_wheel, demo_a, demo_b

_CASE = """\
# SYNTHETIC: an invented wheel and an invented process, for demonstration only.
name = "{title}"
geometry = "{shape}"
alloy = "AlSi7Mg0.3"

[process]
route = "low-pressure"
melt_temp = "705 degC"
die_material = "H13"
hold_pressure = "0.8 bar"

[melt]
hydrogen = "0.12 ml/100g"
strontium = "150 ppm"
magnesium = "0.35 wt%"
iron = "0.10 wt%"

[heat_treatment]
temper = "T6"
"""


def stl_bytes(mesh: Mesh, header: str) -> bytes:
    """Return a mesh as binary STL.

    Parameters
    ----------
    mesh : Mesh
        Surface [mm].
    header : str
        Words for the 80-byte head.
    """
    record = np.zeros(len(mesh.faces), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    vectors = mesh.face_vectors
    record["normal"] = vectors / np.maximum(np.linalg.norm(vectors, axis=1, keepdims=True), 1e-300)
    record["corners"] = mesh.triangles
    return header.encode("ascii").ljust(80)[:80] + np.uint32(len(record)).tobytes() + record.tobytes()


def write_demo(folder: Path) -> tuple[Path, Path]:
    """Write the two demo wheels and their case files.

    Parameters
    ----------
    folder : Path
        Where to write; it must exist.

    Returns
    -------
    tuple of Path
        The case files of variants A and B.
    """
    cases = []
    for letter, design in (("a", demo_a()), ("b", demo_b())):
        shape = f"wheel_{letter}.stl"
        write_bytes(folder / shape, stl_bytes(build_wheel(design), f"SYNTHETIC castq demo wheel {letter.upper()}"))
        case = folder / f"wheel_{letter}.toml"
        write_text(case, _CASE.format(title=f"Demo wheel, spoke {letter.upper()} (SYNTHETIC)", shape=shape))
        cases.append(case)
    return cases[0], cases[1]
