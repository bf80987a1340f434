"""From cleaned shells to the one body to screen: cavities, inverted shells, overlapping and separate bodies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import manifold3d
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from castq.core.errors import InputError, nearest
from castq.files.edges import compact
from castq.files.parts import Part
from castq.files.shells import Shell, clean, judge, open_note
from castq.files.source import Source
from castq.geometry.mesh import Mesh

# Shells below this share of the largest volume are specks; more separate shells than this are not a casting. Practice.
SPECK = 1e-5
MOST_BODIES = 50
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


def find_bodies(source: Source, parts: Sequence[Part]) -> tuple[tuple[Body, ...], tuple[str, ...]]:
    """Return the separate bodies of a file, largest first, and what was mended.

    Parameters
    ----------
    source : Source
        The file, for messages.
    parts : sequence of Part
        The parts as read [unit of the file].

    Raises
    ------
    InputError
        If a part is not a solid (see `judge`), or shells overlap that cannot be united.
    """
    shells = _shells(source, parts)
    warnings = [note for shell in shells for note in (*shell.warnings, *open_note(shell))]
    pieces = [piece for shell in shells for piece in _pieces(shell)]
    volumes = np.array([abs(piece.volume) for piece in pieces])
    real = [piece for piece, volume in zip(pieces, volumes, strict=True) if volume > SPECK * volumes.max()]
    if len(real) < len(pieces):
        warnings.append(f"{len(pieces) - len(real):,} stray shells without notable volume left out")
    if len(real) > MOST_BODIES:
        raise source.error("", f"has {len(real):,} separate bodies", f"at most {MOST_BODIES}", "export the wheel alone")
    real, turned = _facing_out(real)
    warnings += turned
    if len(real) > 1:
        real, united = _united(source, real)
        warnings += united
    return tuple(sorted(real, key=lambda body: -body.volume)), tuple(warnings)


def choose_body(source: Source, bodies: Sequence[Body], wanted: str | None) -> Body:
    """Return the body the user asked for by number or name, or the only one.

    Parameters
    ----------
    source : Source
        The file, for messages.
    bodies : sequence of Body
        The separate bodies.
    wanted : str or None
        Number counted from 1, or name.

    Raises
    ------
    InputError
        If there are several and none is asked for, or the one asked for is not there.
    """
    listed = ", ".join(f"{number}: {body.label}" for number, body in enumerate(bodies[:6], 1))
    if wanted is None:
        if len(bodies) == 1:
            return bodies[0]
        raise source.error(
            "",
            f"has {len(bodies)} separate bodies ({listed}; units of the file)",
            "one wheel",
            "choose one with --body NUMBER or --body NAME",
        )
    if wanted.strip().isdecimal() and 1 <= int(wanted) <= len(bodies):
        return bodies[int(wanted) - 1]
    named = [body for body in bodies if body.name and body.name == wanted.strip()]
    if len(named) == 1:
        return named[0]
    names = [body.name for body in bodies if body.name] + [str(number + 1) for number in range(len(bodies))]
    found = f"{len(named)} bodies are named '{wanted}'" if named else f"there is no body '{wanted}' (bodies: {listed})"
    raise source.error("", found, "a number or a name", nearest(wanted, names))


def check_volume(source: Source, body: Body) -> tuple[str, ...]:
    """Hold the volume of a closed body against that of a second library; return a warning if that cannot be done.

    Parameters
    ----------
    source : Source
        The file, for messages.
    body : Body
        The body.

    Raises
    ------
    InputError
        If the volumes differ.
    """
    if body.open_edges:
        return ()
    if body.solid is None:
        return ("the skin touches itself along edges: volume not checked by a second route",)
    own, other = body.volume, body.solid.volume()
    if abs(own - other) > SAME * own:
        raise source.error(
            "",
            f"volume is {own:.6g} by one route and {other:.6g} by another",
            "one volume",
            "repair the model in CAD and export again",
        )
    return ()


def _shells(source: Source, parts: Sequence[Part]) -> list[Shell]:
    """Clean the parts; parts that close only together (one skin cut into patches) are joined first."""
    shells = [clean(source, part) for part in parts]
    if len(shells) > 1 and any(shell.edges.open.any() for shell in shells):
        offsets = np.cumsum([0, *(len(part.vertices) for part in parts[:-1])])
        faces = np.concatenate([part.faces + start for part, start in zip(parts, offsets, strict=True)])
        joined = clean(source, Part("", np.concatenate([part.vertices for part in parts]), faces))
        if joined.edges.open.sum() < sum(shell.edges.open.sum() for shell in shells):
            shells = [joined]
    for shell in shells:
        judge(source, shell)
    return shells


def _pieces(shell: Shell) -> list[Body]:
    """Split a shell where nothing joins its facets: no edge, and at an open seam no corner either."""
    edges, count = shell.edges, len(shell.mesh.faces)
    pair = edges.start[edges.count == 2]
    left, right = edges.order[pair] % count, edges.order[pair + 1] % count
    number, label = connected_components(_graph(left, right, count), directed=False)
    facet = edges.order[edges.start[edges.open]] % count
    if number > 1 and len(facet):
        ends = edges.ends[edges.open].T.reshape(-1)
        seams = _graph(np.tile(label[facet], 2), number + ends, number + len(shell.mesh.vertices))
        _, group = connected_components(seams, directed=False)
        together, joined = np.unique(group[label], return_inverse=True)
        number, label = len(together), joined.astype(label.dtype)
    if number == 1:
        return [Body(shell.name, shell.mesh, len(facet), shell.volume)]
    open_at = np.bincount(label[facet], minlength=number)
    by_label = np.split(np.argsort(label, kind="stable"), np.cumsum(np.bincount(label))[:-1])
    meshes = [compact(shell.mesh.vertices, shell.mesh.faces[chosen]) for chosen in by_label]
    return [
        Body(shell.name, mesh, int(open_edges), mesh.volume_mm3)
        for mesh, open_edges in zip(meshes, open_at, strict=True)
    ]


def _graph(left: NDArray[np.int64], right: NDArray[np.int64], count: int) -> coo_array:
    return coo_array((np.ones(len(left), np.int8), (left, right)), shape=(count, count))


def _flipped(body: Body) -> Body:
    return Body(body.name, Mesh(body.mesh.vertices, body.mesh.faces[:, ::-1]), body.open_edges, -body.volume)


def _facing_out(pieces: list[Body]) -> tuple[list[Body], list[str]]:
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


def _united(source: Source, bodies: list[Body]) -> tuple[list[Body], list[str]]:
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
        united = manifold3d.Manifold.batch_boolean(
            [member.solid for member in members], manifold3d.OpType.Add
        ).to_mesh64()
        mesh = Mesh(np.asarray(united.vert_properties)[:, :3].copy(), np.asarray(united.tri_verts).astype(np.int64))
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
