"""The demo: an invented wheel with two spoke variants, written as shapes and case files (all SYNTHETIC)."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from castq.files.atomic import write_bytes, write_text
from castq.files.case_design import FACET_MM, wheel_table
from castq.geometry.mesh import Mesh
from castq.geometry.wheel import build_wheel, demo_a, demo_b

_CASE = """\
# SYNTHETIC: an invented wheel, an invented tool and an invented drawing, for demonstration only.
name = "{title}"{shape}
alloy = "AlSi7Mg0.3"

[process]
route = "low-pressure"
melt_temp = "705 degC"
die_material = "H13"
contact_coefficient = "2500 W/m2K"
gap_coefficient = "700 W/m2K"
hold_pressure = "0.8 bar"

[process.die_temp_by_zone]
hub = "390 degC"
"bolt seat" = "390 degC"
"spoke-hub junction" = "350 degC"
spoke = "340 degC"
"spoke-rim junction" = "320 degC"
"rim well" = "300 degC"
"outboard flange" = "280 degC"
"inboard flange" = "250 degC"

[melt]
hydrogen = "0.10 ml/100g"
strontium = "150 ppm"
magnesium = "0.35 wt%"
iron = "0.10 wt%"

[heat_treatment]
temper = "T6"

# The invented drawing.
[limits.all]
ys_min = "180 MPa"
uts_min = "240 MPa"
largest_pore_max = "1500 um"

[limits.hub]
elongation_min = "2.5 %"
sdas_max = "70 um"
porosity_max = "1.5 %"

[limits."bolt seat"]
elongation_min = "2.5 %"
sdas_max = "70 um"
porosity_max = "1 %"

[limits."spoke-hub junction"]
elongation_min = "2.5 %"
sdas_max = "60 um"
porosity_max = "1 %"

[limits.spoke]
elongation_min = "3 %"
sdas_max = "50 um"
porosity_max = "0.8 %"

[limits."spoke-rim junction"]
elongation_min = "3 %"
sdas_max = "50 um"
porosity_max = "0.8 %"

[limits."rim well"]
elongation_min = "4 %"
sdas_max = "40 um"
porosity_max = "0.5 %"

[limits."inboard flange"]
elongation_min = "4 %"
sdas_max = "40 um"
porosity_max = "0.8 %"

[limits."outboard flange"]
elongation_min = "4 %"
sdas_max = "40 um"
porosity_max = "0.5 %"
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
    """Write the two demo wheels and their case files, and wheel A once more as a case that gives its measures.

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
        write_bytes(
            folder / shape, stl_bytes(build_wheel(design, FACET_MM), f"SYNTHETIC castq demo wheel {letter.upper()}")
        )
        case = folder / f"wheel_{letter}.toml"
        title = f"Demo wheel, spoke {letter.upper()} (SYNTHETIC)"
        write_text(case, _CASE.format(title=title, shape=f'\ngeometry = "{shape}"'))
        cases.append(case)
    measures = _CASE.format(title="Demo wheel, spoke A, from its measures (SYNTHETIC)", shape="")
    write_text(folder / "wheel_a_parameters.toml", f"{measures}\n# The invented wheel.\n{wheel_table(demo_a())}")
    return cases[0], cases[1]
