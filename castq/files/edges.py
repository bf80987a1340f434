"""Edges of a triangle mesh: how many facets meet at each, and which way round."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from castq.geometry.mesh import Mesh

Points = NDArray[np.float64]
Faces = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Edges:
    """The edges of a mesh, each once, and how facets meet there.

    Attributes
    ----------
    ends : int array (n, 2)
        Corner indices, in the direction of the first facet at the edge.
    count : int array (n,)
        Number of facets at the edge [-].
    balance : int array (n,)
        Facets passing it one way less facets passing it the other way [-]; 0 when wound alike.
    order, start : int array
        Half-edges (facet = index % n_faces) sorted by edge, and where each edge begins in that order.
    """

    ends: Faces
    count: Faces
    balance: Faces
    order: Faces
    start: Faces

    @property
    def open(self) -> NDArray[np.bool_]:
        """Edges where a facet is missing, bool array (n,)."""
        return self.count % 2 == 1

    @property
    def crossed(self) -> NDArray[np.bool_]:
        """Edges where neighbouring facets are wound against each other, bool array (n,)."""
        return (self.count % 2 == 0) & (self.balance != 0)

    @property
    def perfect(self) -> bool:
        """Whether two facets, wound alike, meet at every edge."""
        return bool(np.all(self.count == 2) and np.all(self.balance == 0))


def find_edges(faces: Faces, corners: int) -> Edges:
    """Return the edges of `faces`, int array (n, 3), over a number of `corners` [-]."""
    tail, head = faces.T.reshape(-1), faces[:, [1, 2, 0]].T.reshape(-1)
    key = np.minimum(tail, head) * corners + np.maximum(tail, head)
    order = np.argsort(key, kind="stable")
    key = key[order]
    start = np.flatnonzero(np.r_[True, key[1:] != key[:-1]]) if len(key) else np.empty(0, np.int64)
    sign = np.where(tail < head, 1, -1)[order]
    first = order[start]
    balance = np.add.reduceat(sign, start) if len(start) else start
    ends = np.column_stack([tail[first], head[first]])
    return Edges(ends, np.diff(np.r_[start, len(key)]), balance, order, start)


def compact(points: Points, faces: Faces) -> Mesh:
    """Return a mesh of `faces` without the corners no facet uses."""
    used = np.zeros(len(points), dtype=bool)
    used[faces] = True
    return Mesh(points[used], (np.cumsum(used) - 1)[faces].astype(np.int64))


def open_area(mesh: Mesh, edges: Edges) -> float:
    """Return the area spanned by the open loops [square unit of the mesh]: a crack spans none, however long.

    Loops that touch are taken together, so that patches meshed apart along a common seam do not count as holes.
    """
    ends = edges.ends[edges.open]
    if len(ends) == 0:
        return 0.0
    count = len(mesh.vertices)
    links = coo_array((np.ones(len(ends), np.int8), (ends[:, 0], ends[:, 1])), shape=(count, count))
    number, label = connected_components(links, directed=False)
    points = mesh.vertices - mesh.vertices.mean(axis=0)
    turn = 0.5 * np.cross(points[ends[:, 0]], points[ends[:, 1]])
    spanned = np.zeros((number, 3))
    np.add.at(spanned, label[ends[:, 0]], turn)
    return float(np.linalg.norm(spanned, axis=1).sum())


def near(mesh: Mesh, edges: Edges, chosen: NDArray[np.bool_]) -> str:
    """Return the middle of the first chosen edge as text."""
    middle = mesh.vertices[edges.ends[np.flatnonzero(chosen)[0]]].mean(axis=0)
    return "(" + ", ".join(f"{value:.4g}" for value in middle) + ")"
