"""What every geometry reader returns: named shells in the unit of the file, not checked yet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

# Scale of each unit a geometry file may be drawn in, and the size that marks a wheel in it: the largest side of the
# bounding box of a car wheel is 330 to 720 mm (rims of 13 to 28 inch). The four windows do not overlap, so a size
# fits one unit or none. Common practice, no source.
UNIT_MM: dict[str, float] = {"mm": 1.0, "cm": 10.0, "inch": 25.4, "m": 1000.0}
UNIT_WINDOWS: dict[str, tuple[float, float]] = {
    "mm": (330.0, 720.0),
    "cm": (33.0, 72.0),
    "inch": (13.0, 28.3),
    "m": (0.33, 0.72),
}


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """One shell or solid as it stands in the file.

    Attributes
    ----------
    name : str
        Name given in the file, as plain text; may be empty.
    vertices : array (n_vertices, 3)
        Corner positions [unit of the file].
    faces : int array (n_faces, 3)
        Corner indices.
    """

    name: str
    vertices: NDArray[np.float64]
    faces: NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Loaded:
    """The parts of one geometry file.

    Attributes
    ----------
    format : str
        For example "binary STL".
    parts : tuple of Part
        Its shells.
    unit_mm : float
        Length of the file's own unit [mm]; NaN when the format carries none.
    unit : str
        Name of that unit; empty when the format carries none.
    warnings : tuple of str
        What the reader had to say.
    """

    format: str
    parts: tuple[Part, ...]
    unit_mm: float = float("nan")
    unit: str = ""
    warnings: tuple[str, ...] = ()


def soup(name: str, triangles: NDArray[np.floating]) -> Part:
    """Return loose triangles, array (n, 3, 3) [unit of the file], as a part without shared corners."""
    corners = np.asarray(triangles, dtype=np.float64).reshape(-1, 3)
    return Part(name, corners, np.arange(len(corners), dtype=np.int64).reshape(-1, 3))
