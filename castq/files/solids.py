"""Solid bodies: cavities given to their hosts, inverted shells turned, overlapping bodies united."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import manifold3d
import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

from castq.core.errors import InputError
from castq.files.source import Source
from castq.geometry.mesh import Mesh

# Volumes that agree to this share are the same [-]: above the rounding of single-precision coordinates. Practice.
SAME = 1e-6


@dataclass(frozen=True, eq=False)
class Body:
    """One body that touches no other.

    Attributes
    ----------
    name : str
        Name from the file; may be empty.
    mesh : Mesh
        Its skin, facing outward [unit of the file].
    open_edges : int
        Edges where a facet is missing [-].
    volume : float
        Signed volume [cubic unit of the file].
    """

    name: str
    mesh: Mesh
    open_edges: int
    volume: float

    @cached_property
    def solid(self) -> manifold3d.Manifold | None:
        """The body for exact booleans, or None when its skin is not two-sided everywhere."""
        faces = np.ascontiguousarray(self.mesh.faces, dtype=np.uint64)
        solid = manifold3d.Manifold(manifold3d.Mesh64(np.ascontiguousarray(self.mesh.vertices), faces))
        return solid if solid.status() == manifold3d.Error.NoError else None

    @property
    def label(self) -> str:
        """Size, and name when there is one, for messages."""
        low, high = self.mesh.bounds
        size = " x ".join(f"{side:.4g}" for side in high - low)
        return f'"{self.name}" {size}' if self.name else size


def _flipped(body: Body) -> Body:
    return Body(body.name, Mesh(body.mesh.vertices, body.mesh.faces[:, ::-1]), body.open_edges, -body.volume)


def facing_out(pieces: list[Body]) -> tuple[list[Body], list[str]]:
    """Turn inverted shells outward; a shell facing inward inside a larger one is its cavity and joins it."""
    warnings = []
    if sum(piece.volume for piece in pieces) < 0.0:
        pieces = [_flipped(piece) for piece in pieces]
        warnings.append("inverted: all facets faced inward; turned")
    solids = [piece for piece in pieces if piece.volume > 0.0]
    hollows = [piece for piece in pieces if piece.volume <= 0.0]
    for hollow in hollows:
        hosts = [index for index, solid in enumerate(solids) if _inside(_flipped(hollow), solid)]
        if not hosts:
            solids.append(_flipped(hollow))
            warnings.append("inverted: the facets of one body faced inward; turned")
            continue
        host = min(hosts, key=lambda index: solids[index].volume)
        solids[host] = _with_cavity(solids[host], hollow)
        warnings.append(
            f"a closed cavity of {-hollow.volume:.4g} (cubic units of the file) in body {solids[host].label}"
        )
    return solids, warnings


def _with_cavity(solid: Body, hollow: Body) -> Body:
    faces = np.concatenate([solid.mesh.faces, hollow.mesh.faces + len(solid.mesh.vertices)])
    mesh = Mesh(np.concatenate([solid.mesh.vertices, hollow.mesh.vertices]), faces)
    return Body(solid.name, mesh, solid.open_edges + hollow.open_edges, solid.volume + hollow.volume)


def _boxes_meet(a: Body, b: Body) -> bool:
    (a_low, a_high), (b_low, b_high) = a.mesh.bounds, b.mesh.bounds
    return bool(np.all(a_low < b_high) and np.all(b_low < a_high))


def _common_volume(a: Body, b: Body) -> float:
    """Return the volume two bodies share [cubic unit of the file]; NaN when it cannot be computed."""
    if not _boxes_meet(a, b):
        return 0.0
    if a.solid is None or b.solid is None:
        return float("nan")
    return float((a.solid ^ b.solid).volume())


def _inside(small: Body, large: Body) -> bool:
    return _common_volume(small, large) > 0.999 * small.volume


def united(source: Source, bodies: list[Body]) -> tuple[list[Body], list[str]]:
    """Unite bodies that overlap; those that stay apart stay separate."""
    count = len(bodies)
    touching = np.zeros((count, count))
    for one in range(count):
        for two in range(one):
            common = _common_volume(bodies[one], bodies[two])
            if np.isnan(common):
                raise _cannot_unite(source, bodies[one], bodies[two])
            touching[one, two] = common > SAME * min(bodies[one].volume, bodies[two].volume)
    number, label = connected_components(touching, directed=False)
    result, warnings = [], []
    for group in range(number):
        members = [bodies[index] for index in np.flatnonzero(label == group)]
        if len(members) == 1:
            result += members
            continue
        whole = manifold3d.Manifold.batch_boolean(
            [member.solid for member in members], manifold3d.OpType.Add
        ).to_mesh64()
        mesh = Mesh(np.asarray(whole.vert_properties)[:, :3].copy(), np.asarray(whole.tri_verts).astype(np.int64))
        volume = mesh.volume_mm3
        before = sum(member.volume for member in members)
        warnings.append(
            f"{len(members)} overlapping bodies united: volume {before:.7g} became {volume:.7g} "
            "(cubic units of the file)"
        )
        names: NDArray[np.str_] = np.unique([member.name for member in members])
        result.append(Body(str(names[0]) if len(names) == 1 else "", mesh, 0, volume))
    return result, warnings


def _cannot_unite(source: Source, a: Body, b: Body) -> InputError:
    return source.error(
        "",
        f"two shells lie in each other's box and one is not closed ({a.label} and {b.label}; units of the file)",
        "closed shells",
        "close and unite them in CAD, or export the wheel alone",
    )
