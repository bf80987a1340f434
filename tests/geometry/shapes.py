"""Plain solids with known measures, for the geometry tests."""

import manifold3d as m3
import numpy as np

from castq.geometry.mesh import Mesh


def mesh_of(solid):
    arrays = solid.to_mesh64()
    return Mesh(np.array(arrays.vert_properties[:, :3], float), np.array(arrays.tri_verts, np.int64))


def box(*size, turn=(0.0, 0.0, 0.0)):
    return m3.Manifold.cube(size, True).rotate(turn)


def joined(*meshes):
    """Return one mesh with the surfaces of all, not united."""
    firsts = np.cumsum([0] + [len(mesh.vertices) for mesh in meshes[:-1]])
    faces = [mesh.faces + first for mesh, first in zip(meshes, firsts, strict=True)]
    return Mesh(np.vstack([mesh.vertices for mesh in meshes]), np.vstack(faces))


def inverted(mesh):
    return Mesh(mesh.vertices, mesh.faces[:, ::-1])


def near(grid, radius_mm, centre_mm=(0.0, 0.0, 0.0)):
    """Return which metal voxels lie near a place."""
    x, y, z = np.meshgrid(*grid.centres_mm, indexing="ij")
    a, b, c = centre_mm
    return (grid.fraction > 0.0) & ((x - a) ** 2 + (y - b) ** 2 + (z - c) ** 2 < radius_mm**2)


def plain_wheel(spokes, bolts=5, twin_deg=0.0, valve=False, lean_deg=0.0, segments=192):
    """Return a ring, a hub and straight spokes; `twin_deg` splits each into a pair, `lean_deg` twists it."""

    def disc(height, radius, sides=segments):
        return m3.Manifold.cylinder(height, radius, radius, sides)

    body = disc(200, 230) - disc(210, 218).translate((0, 0, -5)) + disc(50, 75)
    width = min(40.0, 165.0 / spokes)
    for i in range(spokes):
        for side in (-twin_deg, twin_deg) if twin_deg else (0.0,):
            bar = box(160, width / (2 if twin_deg else 1), 25, turn=(lean_deg, 0, 0)).translate((145, 0, 27))
            body += bar.rotate((0, 0, 360 * i / spokes + side))
    body -= disc(60, 32).translate((0, 0, -5))
    for i in range(bolts):
        body -= disc(60, 8, 48).translate((54, 0, -5)).rotate((0, 0, 360 * i / bolts))
    if valve:
        body -= disc(60, 5.7, 48).rotate((0, 90, 0)).translate((200, 0, 150)).rotate((0, 0, 180 / spokes))
    return mesh_of(body)
