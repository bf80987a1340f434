"""Writers of small geometry files, right and wrong ones; independent of castq's readers."""

from __future__ import annotations

import io
import struct
import zipfile
from collections.abc import Sequence
from pathlib import Path

import manifold3d
import numpy as np
from numpy.typing import NDArray

Triangles = NDArray[np.float64]
RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
CONTENT_TYPES = '<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"/>'


def triangles(solid: manifold3d.Manifold) -> Triangles:
    mesh = solid.to_mesh64()
    return np.asarray(mesh.vert_properties)[:, :3][np.asarray(mesh.tri_verts).astype(int)]


def box(x: float = 400.0, y: float = 200.0, z: float = 100.0) -> Triangles:
    return triangles(manifold3d.Manifold.cube((x, y, z)))


def blocks(cells: Sequence[tuple[int, int, int]], side: float) -> Triangles:
    """The skin of cubes on a grid, faces between neighbours left out."""
    facets = []
    for cell in cells:
        for axis, step in [(axis, step) for axis in range(3) for step in (0, 1)]:
            if tuple(np.add(cell, (2 * step - 1) * np.eye(3, dtype=int)[axis])) in cells:
                continue
            corners = np.array(cell) + np.roll(
                [[step, a, b] for a, b in ((0, 0), (1, 0), (1, 1), (0, 1))], axis, axis=1
            )
            ring = corners if step else corners[::-1]
            facets += [ring[[0, 1, 2]], ring[[0, 2, 3]]]
    return side * np.array(facets, dtype=float)


def wheel(segments: int = 96, longest_mm: float | None = None) -> manifold3d.Manifold:
    """A plain disc wheel of 450 mm with a bore: hub, disc and rim turned from one profile."""
    profile = [[35, 0], [100, 20], [200, 10], [200, -90], [225, -100], [225, 100], [200, 95], [180, 60], [35, 60]]
    solid = manifold3d.Manifold.revolve(manifold3d.CrossSection([profile]), segments)
    return solid if longest_mm is None else solid.refine_to_length(longest_mm)


def binary_stl(shape: Triangles, *, header: bytes = b"made by a test", count: int | None = None) -> bytes:
    rows = np.zeros(len(shape), RECORD)
    rows["corners"] = shape
    return header.ljust(80)[:80] + struct.pack("<I", len(shape) if count is None else count) + rows.tobytes()


def ascii_stl(shape: Triangles, *, name: str = "part", end: bool = True) -> str:
    lines = [f"solid {name}"]
    for corners in shape.tolist():
        lines += ["  facet normal 0 0 1", "    outer loop"]
        lines += ["      vertex {:.9g} {:.9g} {:.9g}".format(*corner) for corner in corners]
        lines += ["    endloop", "  endfacet"]
    return "\n".join(lines + [f"endsolid {name}"] * end) + "\n"


def indexed(shape: Triangles) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    points, index = np.unique(shape.reshape(-1, 3), axis=0, return_inverse=True)
    return points, index.reshape(-1, 3)


def ascii_ply(shape: Triangles) -> str:
    points, faces = indexed(shape)
    head = [
        "ply",
        "format ascii 1.0",
        f"element vertex {len(points)}",
        "property double x",
        "property double y",
        "property double z",
        f"element face {len(faces)}",
        "property list uchar int vertex_indices",
        "end_header",
    ]
    rows = ["{:.17g} {:.17g} {:.17g}".format(*point) for point in points.tolist()]
    return "\n".join(head + rows + ["3 {} {} {}".format(*face) for face in faces.tolist()]) + "\n"


def binary_ply(shape: Triangles) -> bytes:
    points, faces = indexed(shape)
    head = (
        f"ply\nformat binary_little_endian 1.0\nelement vertex {len(points)}\nproperty double x\n"
        f"property double y\nproperty double z\nelement face {len(faces)}\n"
        "property list uchar int vertex_indices\nend_header\n"
    )
    rows = np.zeros(len(faces), np.dtype([("n", "u1"), ("index", "<i4", 3)]))
    rows["n"], rows["index"] = 3, faces
    return head.encode() + points.astype("<f8").tobytes() + rows.tobytes()


def obj(shape: Triangles, *, name: str = "", first: int = 1) -> str:
    points, faces = indexed(shape)
    lines = [f"o {name}"] * bool(name)
    lines += ["v {:.17g} {:.17g} {:.17g}".format(*point) for point in points.tolist()]
    return "\n".join(lines + ["f {} {} {}".format(*(np.array(face) + first)) for face in faces.tolist()]) + "\n"


def model_mesh(shape: Triangles) -> str:
    points, faces = indexed(shape)
    vertices = "".join('<vertex x="{:.17g}" y="{:.17g}" z="{:.17g}"/>'.format(*point) for point in points.tolist())
    rows = "".join('<triangle v1="{}" v2="{}" v3="{}"/>'.format(*face) for face in faces.tolist())
    return f"<mesh><vertices>{vertices}</vertices><triangles>{rows}</triangles></mesh>"


def model_xml(objects: str, items: str, unit: str = "millimeter") -> str:
    return (
        f'<?xml version="1.0" encoding="UTF-8"?><model unit="{unit}" '
        'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">'
        f"<resources>{objects}</resources><build>{items}</build></model>"
    )


def archive(entries: Sequence[tuple[str, str]]) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, text in entries:
            packed.writestr(name, text)
    return stream.getvalue()


def threemf(shape: Triangles, *, unit: str = "millimeter", transform: str = "", name: str = "") -> bytes:
    placed = f' transform="{transform}"' * bool(transform)
    xml = model_xml(
        f'<object id="1" type="model" name="{name}">{model_mesh(shape)}</object>', f'<item objectid="1"{placed}/>', unit
    )
    return archive([("[Content_Types].xml", CONTENT_TYPES), ("3D/3dmodel.model", xml)])


def step(shape: Triangles, *, prefix: str = ".MILLI.") -> str:
    """A faceted solid after ISO 10303-214: each triangle one plane face bounded by a polygon."""
    lines: list[str] = []

    def put(entity: str) -> str:
        lines.append(f"#{len(lines) + 1}={entity};")
        return f"#{len(lines)}"

    def triple(values: NDArray[np.float64]) -> str:
        return "(" + ",".join(f"{value:.12E}" for value in values) + ")"

    context = put("APPLICATION_CONTEXT('core data for automotive mechanical design processes')")
    put(f"APPLICATION_PROTOCOL_DEFINITION('international standard','automotive_design',2000,{context})")
    mechanical = put(f"PRODUCT_CONTEXT('',{context},'mechanical')")
    product = put(f"PRODUCT('part','part','',({mechanical}))")
    formation = put(f"PRODUCT_DEFINITION_FORMATION('','',{product})")
    view = put(f"PRODUCT_DEFINITION_CONTEXT('part definition',{context},'design')")
    definition = put(f"PRODUCT_DEFINITION('design','',{formation},{view})")
    shape_of = put(f"PRODUCT_DEFINITION_SHAPE('','',{definition})")
    length = put(f"(LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT({prefix},.METRE.))")
    angle = put("(NAMED_UNIT(*) PLANE_ANGLE_UNIT() SI_UNIT($,.RADIAN.))")
    solid_angle = put("(NAMED_UNIT(*) SI_UNIT($,.STERADIAN.) SOLID_ANGLE_UNIT())")
    fuzz = put(f"UNCERTAINTY_MEASURE_WITH_UNIT(LENGTH_MEASURE(1.E-06),{length},'distance_accuracy_value','')")
    space = put(
        f"(GEOMETRIC_REPRESENTATION_CONTEXT(3) GLOBAL_UNCERTAINTY_ASSIGNED_CONTEXT(({fuzz})) "
        f"GLOBAL_UNIT_ASSIGNED_CONTEXT(({length},{angle},{solid_angle})) REPRESENTATION_CONTEXT('',''))"
    )
    points, faces = indexed(shape)
    corner = [put(f"CARTESIAN_POINT('',{triple(point)})") for point in points]
    skin = []
    for face in faces.tolist():
        a, b, c = points[face]
        normal = np.cross(b - a, c - a)
        axis = put(f"DIRECTION('',{triple(normal / np.linalg.norm(normal))})")
        along = put(f"DIRECTION('',{triple((b - a) / np.linalg.norm(b - a))})")
        frame = put(f"AXIS2_PLACEMENT_3D('',{corner[face[0]]},{axis},{along})")
        plane = put(f"PLANE('',{frame})")
        loop = put("POLY_LOOP('',(" + ",".join(corner[index] for index in face) + "))")
        bound = put(f"FACE_OUTER_BOUND('',{loop},.T.)")
        skin.append(put(f"FACE_SURFACE('',({bound}),{plane},.T.)"))
    shell = put(f"CLOSED_SHELL('',({','.join(skin)}))")
    solid = put(f"FACETED_BREP('part',{shell})")
    origin = put("CARTESIAN_POINT('',(0.,0.,0.))")
    upright, forward = put("DIRECTION('',(0.,0.,1.))"), put("DIRECTION('',(1.,0.,0.))")
    placed = put(f"AXIS2_PLACEMENT_3D('',{origin},{upright},{forward})")
    representation = put(f"FACETED_BREP_SHAPE_REPRESENTATION('',({placed},{solid}),{space})")
    put(f"SHAPE_DEFINITION_REPRESENTATION({shape_of},{representation})")
    head = (
        "ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION((''),'2;1');\n"
        "FILE_NAME('part','2026-01-01T00:00:00',(''),(''),'','','');\n"
        "FILE_SCHEMA(('AUTOMOTIVE_DESIGN { 1 0 10303 214 1 1 1 1 }'));\nENDSEC;\nDATA;\n"
    )
    return head + "\n".join(lines) + "\nENDSEC;\nEND-ISO-10303-21;\n"


def write(path: Path, content: bytes | str) -> Path:
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path
