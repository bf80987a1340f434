"""OBJ: `v` and `f` lines read strictly, polygons cut into fans, groups kept as parts; all else is passed over."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from castq.core.errors import InputError, plain
from castq.files.parts import Loaded, Part
from castq.files.source import Source, is_text, real_type

# Statements without shape, and those with a shape that is not made of facets.
_PASSED = {b"vn", b"vt", b"vp", b"s", b"mtllib", b"usemtl", b"l", b"p", b"mg", b"lod", b"shadow_obj", b"trace_obj"}
_CURVED = {b"curv", b"curv2", b"surf", b"cstype", b"deg", b"parm", b"trim", b"hole", b"sp", b"end"}


def read_obj(source: Source, max_facets: int) -> Loaded:
    """Return the triangles of an OBJ file, in the unit of the file.

    Parameters
    ----------
    source : Source
        The file.
    max_facets : int
        Largest number of facets accepted [-].

    Raises
    ------
    InputError
        If the file is not OBJ text, or a line of it cannot be read.
    """
    kind = real_type(source.data)
    if kind or not is_text(source.data):
        raise source.error(
            "",
            f"is not OBJ: its content is {kind or 'binary'}",
            "an OBJ file",
            "give the file its right ending or export OBJ",
        )
    corners: list[bytes] = []
    groups: dict[str, list[tuple[int, int, int]]] = {}
    facets = groups.setdefault("", [])
    total = 0
    for number, line in enumerate(source.data.removeprefix(b"\xef\xbb\xbf").splitlines(), 1):
        words = line.split(b"#", 1)[0].split()
        if not words:
            continue
        match words[0]:
            case b"v":
                corners.append(_corner(source, number, words))
            case b"f":
                added = _fan(source, number, words, len(corners))
                facets += added
                total += len(added)
            case b"o" | b"g":
                facets = groups.setdefault(plain(b" ".join(words[1:]).decode("utf-8", "replace"), 60), [])
            case word if word not in _PASSED:
                raise _unknown(source, number, word)
        if total > max_facets:
            raise source.error(
                f"line {number}",
                f"more than {max_facets:,} facets",
                f"at most {max_facets:,}",
                "export with a coarser tolerance",
            )
    if not total:
        raise source.error("", "has no facets", "at least 4 facets", "export the file again")
    points = _numbers(source, corners)
    parts = (Part(name, points, np.array(rows, dtype=np.int64)) for name, rows in groups.items() if rows)
    return Loaded("OBJ", tuple(parts))


def _corner(source: Source, number: int, words: list[bytes]) -> bytes:
    """Return the three coordinates as text; weight or colour may follow them."""
    if len(words) not in (4, 5, 7):
        comma = any(b"," in word for word in words)
        raise source.error(
            f"line {number}",
            f"a vertex with {len(words) - 1} numbers",
            "3 numbers",
            "export with a decimal point, not a comma" if comma else "export the file again",
        )
    for word in words[1:4]:
        try:
            value = float(word) if b"_" not in word else float("nan")
        except ValueError:
            value = float("nan")
        if not abs(value) <= 1e7:
            shown = plain(word.decode("latin-1"), 40)
            mend = "export with a decimal point" if b"," in word else "repair the model and export again"
            found = f"decimal comma in '{shown}'" if b"," in word else f"coordinate '{shown}' is not a usable number"
            raise source.error(f"line {number}", found, "finite numbers within +/-1e7", mend)
    return b" ".join(words[1:4])


def _numbers(source: Source, corners: list[bytes]) -> NDArray[np.float64]:
    if not corners:
        raise source.error("", "has facets but no vertices", "v lines", "export the file again")
    return np.array(b" ".join(corners).split(), dtype=np.float64).reshape(-1, 3)


def _fan(source: Source, number: int, words: list[bytes], known: int) -> list[tuple[int, int, int]]:
    """Return the triangles of a facet; a negative index counts back from the last vertex."""
    if len(words) < 4:
        raise source.error(
            f"line {number}", f"a facet with {len(words) - 1} corners", "3 or more", "export the file again"
        )
    indices = []
    for word in words[1:]:
        written = word.split(b"/", 1)[0]
        if not (written.removeprefix(b"-").isdigit() and len(written) < 12):
            raise source.error(
                f"line {number}",
                f"'{plain(word.decode('latin-1'), 40)}' is not a vertex number",
                "a whole number",
                "export the file again",
            )
        index = int(written)
        index = index - 1 if index > 0 else known + index if index < 0 else -1
        if not 0 <= index:
            raise source.error(
                f"line {number}",
                f"'{plain(word.decode('latin-1'), 40)}' points at no vertex",
                "vertex numbers counted from 1",
                "export the file again",
            )
        indices.append(index)
    return [(indices[0], b, c) for b, c in pairwise(indices[1:])]


def _unknown(source: Source, number: int, word: bytes) -> InputError:
    shown = plain(word.decode("latin-1"), 40)
    if word in _CURVED:
        return source.error(f"line {number}", f"free-form geometry '{shown}'", "facets", "export triangles")
    return source.error(
        f"line {number}", f"'{shown}' is not an OBJ statement", "v, f, g, o lines", "export the file again"
    )
