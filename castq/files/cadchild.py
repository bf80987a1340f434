"""Run as a child process: turn a STEP or IGES file into triangles in metres, so that a crash or hang stays outside."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import numpy as np

# Largest distance between surface and facet [mm] and largest angle between neighbouring facets [rad]. Practice.
LINEAR_MM = 0.1
ANGULAR_RAD = 0.2


def convert(given: Path, kind: str, result: Path) -> None:
    """Write the solids of a STEP or IGES file to an npz file.

    Parameters
    ----------
    given : Path
        The CAD file.
    kind : {"step", "iges"}
        Its format.
    result : Path
        The npz file: names, and for each solid n the arrays vertices_n [m] and faces_n.
    """
    import cascadio
    import trimesh

    file_type = cascadio.FileType.STEP if kind == "step" else cascadio.FileType.IGES
    glb = cascadio.to_glb_bytes(
        given.read_bytes(), file_type, tol_linear=LINEAR_MM, tol_angular=ANGULAR_RAD, use_parallel=False
    )
    if not glb:
        sys.exit("the CAD library finds no shape in it")
    scene = trimesh.load_scene(io.BytesIO(glb), file_type="glb")
    arrays: dict[str, object] = {}
    names: list[str] = []
    for number, node in enumerate(sorted(scene.graph.nodes_geometry)):
        transform, geometry = scene.graph[node]
        mesh = scene.geometry[geometry].copy().apply_transform(transform)
        arrays[f"vertices_{number}"] = np.asarray(mesh.vertices, dtype=np.float64)
        arrays[f"faces_{number}"] = np.asarray(mesh.faces, dtype=np.int64)
        names.append(str(geometry))
    np.savez(result, names=np.array(names, dtype=np.str_), **arrays)  # type: ignore[arg-type]


if __name__ == "__main__":
    convert(Path(sys.argv[1]), sys.argv[2], Path(sys.argv[3]))
