"""The gate every shell passes, whatever format it came in: corners joined, spare facets out, holes and winding seen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from castq.files.edges import Edges, Faces, Points, compact, find_edges, near, open_area
from castq.files.parts import Part
from castq.files.source import Source
from castq.geometry.mesh import Mesh

# Shares of the size (largest side of the bounding box): corners closer than JOIN are one corner; open edges closer
# than WELD are closed with a warning (9 um on a 450 mm wheel); a mean thickness below THIN is none. Practice.
JOIN = 1e-6
WELD = 2e-5
THIN = 1e-6
# Coordinates beyond LARGEST and models below SMALLEST are wheels in no unit [unit of the file]. Practice.
LARGEST = 1e7
SMALLEST = 1e-6
# More corners than this within reach of one another are no seam but a blot, and would fill the memory. Practice.
CROWD = 60
# Openings up to this share of the surface are left for the voxel leak measure to judge; larger ones are refused.
# One facet of a twelve-facet box is 3.6 % or more, one facet of a meshed wheel about 0.001 %. Practice.
OPEN_SHARE = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class Shell:
    """A cleaned part.

    Attributes
    ----------
    name : str
        Name from the file.
    mesh : Mesh
        Corners joined [unit of the file].
    edges : Edges
        Its edges.
    area, volume : float
        Surface and signed volume [square and cubic unit of the file].
    open_share : float
        Area of the openings over the surface [-].
    warnings : tuple of str
        What was mended.
    """

    name: str
    mesh: Mesh
    edges: Edges
    area: float
    volume: float
    open_share: float
    warnings: tuple[str, ...]


def clean(source: Source, part: Part) -> Shell:
    """Return a part with its corners joined and its spare facets dropped.

    Parameters
    ----------
    source : Source
        The file, for messages.
    part : Part
        The part as read [unit of the file].

    Raises
    ------
    InputError
        If it has no facets with an area, no extent, indices out of range or numbers that are not finite.
    """
    points, faces, size = _checked(source, part)
    points, faces = _join(points, faces, size * JOIN)
    faces, flat = _without_repeats(faces)
    edges = find_edges(faces, len(points))
    notes, twice = [], 0
    if not edges.perfect:
        faces, twice = _without_doubles(faces)
        edges = find_edges(faces, len(points))
    for reach in (JOIN, WELD):
        if edges.open.any():
            welded, lost = _without_repeats(_weld(points, faces, edges, size * reach))
            after = find_edges(welded, len(points))
            if after.open.sum() < edges.open.sum():
                if reach == WELD:
                    notes.append(
                        f"{edges.open.sum() - after.open.sum():,} open edges with gaps below "
                        f"{size * reach:.2g} (units of the file) closed"
                    )
                faces, edges, flat = welded, after, flat + lost
    faces, edges, more = _without_needles(points, faces, edges)
    if flat + more:
        notes.insert(0, f"{flat + more:,} facets of zero area dropped")
    if twice:
        notes.insert(0, f"{twice:,} facets were there twice; merged")
    mesh = compact(points, faces)
    if len(mesh.vertices) < len(points):
        edges = find_edges(mesh.faces, len(mesh.vertices))
    if len(faces) == 0:
        raise source.error(part.name, "all facets have zero area", "a solid", "export the model as a solid")
    area = mesh.area_mm2
    spanned = open_area(mesh, edges)
    return Shell(part.name, mesh, edges, area, mesh.volume_mm3, spanned / area, tuple(notes))


def judge(source: Source, shell: Shell) -> None:
    """Refuse a shell that encloses no volume or that cannot be told inside from outside.

    Parameters
    ----------
    source : Source
        The file, for messages.
    shell : Shell
        The cleaned shell [unit of the file].

    Raises
    ------
    InputError
        If it is wound both ways, has no thickness, lies back to back with itself, or stands open.
    """
    mesh, edges = shell.mesh, shell.edges
    place = f"body '{shell.name}'" if shell.name else ""
    size = float(np.ptp(mesh.vertices, axis=0).max())
    if edges.crossed.any():
        raise source.error(
            place,
            f"mixed winding: at {edges.crossed.sum():,} edges neighbouring facets face opposite ways, "
            f"first near {near(mesh, edges, edges.crossed)}",
            "all facets wound alike",
            "make the normals point outward in CAD and export again",
        )
    if abs(shell.volume) <= THIN * shell.area * size:
        raise source.error(
            place,
            "no thickness: it encloses no volume (a sheet, or flattened)",
            "a solid",
            "thicken the surface or export the solid",
        )
    back = _back_to_back(mesh.faces, edges)
    if back:
        raise source.error(
            place,
            f"{back:,} pairs of facets lie back to back: bodies that touch, or an inner wall",
            "one closed skin",
            "unite the bodies in CAD, or export the wheel alone",
        )
    if shell.open_share > OPEN_SHARE:
        raise source.error(
            place,
            f"not watertight: {edges.open.sum():,} open edges, first near {near(mesh, edges, edges.open)}; "
            f"the openings are {percent(shell.open_share)} % of the surface",
            f"at most {100 * OPEN_SHARE:g} %",
            "close the shell in CAD and export again",
        )


def percent(share: float) -> str:
    """Return a share [-] in percent, as text with four decimals at most."""
    return f"{round(100.0 * share, 4):g}"


def open_note(shell: Shell) -> tuple[str, ...]:
    """Return the warning about openings small enough to go on with."""
    edges = shell.edges
    if not edges.open.any():
        return ()
    return (
        f"not watertight: {edges.open.sum():,} open edges, first near {near(shell.mesh, edges, edges.open)} "
        f"(units of the file), {percent(shell.open_share)} % of the surface; volume is approximate",
    )


def _checked(source: Source, part: Part) -> tuple[Points, Faces, float]:
    """Return the corners that facets use, the facets, and the largest side of the bounding box."""
    points, faces = part.vertices, part.faces
    again = "export the model again"
    if len(faces) == 0:
        raise source.error(part.name, "has no facets", "at least 4 facets", again)
    if faces.min() < 0 or faces.max() >= len(points):
        bad = int(np.flatnonzero((faces < 0).any(axis=1) | (faces >= len(points)).any(axis=1))[0])
        raise source.error(f"facet {bad + 1}", f"points at a corner outside 1 to {len(points):,}", "", again)
    if len(points) < faces.size:
        mesh = compact(points, faces)
        points, faces = mesh.vertices, mesh.faces
    low, high = points.min(axis=0), points.max(axis=0)
    if not (np.abs(low) <= LARGEST).all() or not (np.abs(high) <= LARGEST).all():
        bad = int(np.flatnonzero(~(np.abs(part.vertices) <= LARGEST).all(axis=1))[0])
        raise source.error(
            f"corner {bad + 1}",
            f"coordinates {part.vertices[bad].tolist()} are out of range or not numbers",
            f"finite coordinates within +/-{LARGEST:g}",
            "repair the model and export again",
        )
    size = float((high - low).max())
    if size < SMALLEST:
        raise source.error(part.name, f"the whole model is {size:.3g} long", "a wheel", "check the scale of the export")
    return points, faces, size


def _join(points: Points, faces: Faces, step: float) -> tuple[Points, Faces]:
    """Give corners in one cell of a grid of width `step` one index; 21 bits hold a cell number along each axis."""
    cell = np.rint((points - points.min(axis=0)) / step).astype(np.int64)
    key = (cell[:, 0] << 42) | (cell[:, 1] << 21) | cell[:, 2]
    _, first, index = np.unique(key, return_index=True, return_inverse=True)
    return points[first], index[faces]


def _weld(points: Points, faces: Faces, edges: Edges, reach: float) -> Faces:
    """Join corners of open edges that lie within `reach` of each other."""
    loose = np.unique(edges.ends[edges.open])
    tree = cKDTree(points[loose])
    if tree.count_neighbors(tree, reach) > CROWD * len(loose):
        return faces
    pairs = loose[tree.query_pairs(reach, output_type="ndarray")]
    links = coo_array((np.ones(len(pairs), np.int8), (pairs[:, 0], pairs[:, 1])), shape=(len(points),) * 2)
    _, label = connected_components(links, directed=False)
    _, keep, index = np.unique(label, return_index=True, return_inverse=True)
    return keep[index][faces].astype(np.int64)


def _without_repeats(faces: Faces) -> tuple[Faces, int]:
    a, b, c = faces.T
    real = (a != b) & (b != c) & (c != a)
    return faces[real], int((~real).sum())


def _without_doubles(faces: Faces) -> tuple[Faces, int]:
    """Drop facets that stand there again with the same winding."""
    turned = np.take_along_axis(faces, (faces.argmin(axis=1)[:, None] + np.arange(3)) % 3, axis=1)
    _, keep = np.unique(turned, axis=0, return_index=True)
    return faces[np.sort(keep)], len(faces) - len(keep)


def _without_needles(points: Points, faces: Faces, edges: Edges) -> tuple[Faces, Edges, int]:
    """Drop facets whose three corners lie on a line, unless they close the shell."""
    corner = points[faces[:, 0]]
    double_area = np.cross(points[faces[:, 1]] - corner, points[faces[:, 2]] - corner)
    double_area = np.sqrt(np.einsum("ij,ij->i", double_area, double_area))
    # No side is longer than the diagonal of the box, so few facets need a closer look.
    suspect = np.flatnonzero(double_area <= 3e-9 * np.square(np.ptp(points, axis=0).max()))
    corners = points[faces[suspect]]
    sides = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    flat = np.zeros(len(faces), dtype=bool)
    flat[suspect] = double_area[suspect] <= 1e-9 * sides**2
    if not flat.any():
        return faces, edges, 0
    after = find_edges(faces[~flat], len(points))
    if after.open.sum() > edges.open.sum():
        return faces, edges, 0
    return faces[~flat], after, int(flat.sum())


def _back_to_back(faces: Faces, edges: Edges) -> int:
    """Return how many facets coincide with another one of opposite winding."""
    if edges.perfect:
        return 0
    ordered = np.sort(faces, axis=1)
    return len(ordered) - len(np.unique(ordered, axis=0))
