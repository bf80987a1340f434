"""A triangle mesh in millimetres: plain arrays and the few measures that castq needs of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """A triangle mesh.

    Attributes
    ----------
    vertices : array (n_vertices, 3)
        Corner positions [mm].
    faces : int array (n_faces, 3)
        Corner indices, counter-clockwise seen from outside.
    """

    vertices: NDArray[np.float64]
    faces: NDArray[np.int64]

    @property
    def triangles(self) -> NDArray[np.float64]:
        """Corner positions of each face, array (n_faces, 3, 3) [mm]."""
        return self.vertices[self.faces]

    @property
    def face_vectors(self) -> NDArray[np.float64]:
        """Outward vector of each face with the length of its area, array (n_faces, 3) [mm2]."""
        corners = self.triangles
        return 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])

    @property
    def area_mm2(self) -> float:
        """Total surface area [mm2]."""
        return float(np.linalg.norm(self.face_vectors, axis=1).sum())

    @property
    def volume_mm3(self) -> float:
        """Signed enclosed volume [mm3]; meaningful for closed, consistently wound meshes only."""
        corners = self.triangles - self.vertices.mean(axis=0)
        return float(np.einsum("ij,ij->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])) / 6.0)

    @property
    def bounds(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Lower and upper corner of the bounding box [mm]."""
        return self.vertices.min(axis=0), self.vertices.max(axis=0)

    def scaled(self, factor: float) -> Mesh:
        """Return the mesh with all coordinates multiplied by `factor` [-]."""
        return Mesh(self.vertices * factor, self.faces)

    def moved(self, rotation: NDArray[np.float64], centre: NDArray[np.float64]) -> Mesh:
        """Return the mesh in the frame whose rows are `rotation` and whose origin is `centre` [mm]."""
        return Mesh((self.vertices - centre) @ rotation.T, self.faces)
