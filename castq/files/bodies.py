"""From cleaned shells to the one body to screen: cavities, inverted shells, overlapping and separate bodies."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from castq.core.errors import InputError, nearest
from castq.files.edges import compact
from castq.files.parts import Part
from castq.files.shells import Shell, clean, judge, open_note
from castq.files.solids import SAME, Body, facing_out, united
from castq.files.source import Source
from castq.geometry.mesh import Mesh

# Shells below this share of the largest volume are specks; more separate bodies than this are not a casting; more
# parts than this are the patches of one skin, written one by one. Practice.
SPECK = 1e-5
MOST_BODIES = 50
MOST_PARTS = 200


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
    found = [_pieces(source, shell) for shell in shells]
    pieces = [piece for several, _ in found for piece in several]
    largest = max(abs(piece.volume) for piece in pieces)
    real = [piece for piece in pieces if abs(piece.volume) > SPECK * largest]
    specks = len(pieces) - len(real) + sum(left_out for _, left_out in found)
    if specks:
        warnings.append(f"{specks:,} stray shells without notable volume left out")
    if len(real) > MOST_BODIES:
        raise _too_many(source, len(real))
    real, turned = facing_out(real)
    warnings += turned
    if len(real) > 1:
        real, joined = united(source, real)
        warnings += joined
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
            "one body",
            'choose one with --body NUMBER or --body NAME, or with body = "..." in the case file',
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
    if len(parts) > MOST_PARTS:
        parts = [_joined(parts)]
    shells = [clean(source, part) for part in parts]
    loose = sum(int(shell.edges.open.sum()) for shell in shells)
    if len(shells) > 1 and loose:
        joined = clean(source, _joined(parts))
        if joined.edges.open.sum() < loose:
            shells = [joined]
    for shell in shells:
        judge(source, shell)
    return shells


def _joined(parts: Sequence[Part]) -> Part:
    offsets = np.cumsum([0, *(len(part.vertices) for part in parts[:-1])])
    faces = np.concatenate([part.faces + start for part, start in zip(parts, offsets, strict=True)])
    return Part("", np.concatenate([part.vertices for part in parts]), faces)


def _pieces(source: Source, shell: Shell) -> tuple[list[Body], int]:
    """Return the bodies of a shell, and the number of specks beside them.

    A shell is cut where nothing joins its facets: no edge, and at an open seam no corner either.
    """
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
        return [Body(shell.name, shell.mesh, len(facet), shell.volume)], 0
    open_at = np.bincount(label[facet], minlength=number)
    volumes = np.bincount(label, weights=_wedges(shell.mesh), minlength=number)
    kept = np.flatnonzero(np.abs(volumes) > SPECK * np.abs(volumes).max())
    if len(kept) > MOST_BODIES:
        raise _too_many(source, len(kept))
    bodies = []
    for piece in kept:
        mesh = compact(shell.mesh.vertices, shell.mesh.faces[label == piece])
        bodies.append(Body(shell.name, mesh, int(open_at[piece]), mesh.volume_mm3))
    return bodies, number - len(kept)


def _too_many(source: Source, found: int) -> InputError:
    return source.error("", f"has {found:,} separate bodies", f"at most {MOST_BODIES}", "export the wheel alone")


def _wedges(mesh: Mesh) -> NDArray[np.float64]:
    """Return the signed volume between each facet and the middle of the mesh [cubic unit of the file]."""
    corners = mesh.triangles - mesh.vertices.mean(axis=0)
    turned = np.cross(corners[:, 1], corners[:, 2])
    return np.asarray(np.einsum("ij,ij->i", corners[:, 0], turned) / 6.0, dtype=np.float64)


def _graph(left: NDArray[np.int64], right: NDArray[np.int64], count: int) -> coo_array:
    return coo_array((np.ones(len(left), np.int8), (left, right)), shape=(count, count))
