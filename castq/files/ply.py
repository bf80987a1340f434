"""PLY: the header is checked by castq before a library reads the body, and the result is held against the header."""

from __future__ import annotations

import io
import re

import numpy as np

from castq.core.errors import plain
from castq.files.parts import Loaded, Part
from castq.files.source import Source, real_type

_BYTES = {
    "char": 1,
    "uchar": 1,
    "int8": 1,
    "uint8": 1,
    "short": 2,
    "ushort": 2,
    "int16": 2,
    "uint16": 2,
    "int": 4,
    "uint": 4,
    "int32": 4,
    "uint32": 4,
    "float": 4,
    "float32": 4,
    "double": 8,
    "float64": 8,
}
_FORMATS = ("ascii", "binary_little_endian", "binary_big_endian")
_LONGEST_HEADER = 65536
AGAIN = "export the file again"


def read_ply(source: Source, max_facets: int) -> Loaded:
    """Return the triangles of a PLY file, in the unit of the file.

    Parameters
    ----------
    source : Source
        The file.
    max_facets : int
        Largest number of facets accepted [-].

    Raises
    ------
    InputError
        If the header is not that of a mesh, the body is shorter than it says, or the library cannot read it.
    """
    import trimesh

    encoding, counts, least, start = _header(source)
    vertices, facets = counts.get("vertex", 0), counts.get("face", 0)
    if facets > max_facets:
        raise source.error(
            "header", f"says {facets:,} facets", f"at most {max_facets:,} facets", "export with a coarser tolerance"
        )
    _check_length(source, source.data[start:], counts, 0 if encoding == "ascii" else least)
    try:
        with np.errstate(all="ignore"):
            mesh = trimesh.load_mesh(io.BytesIO(source.data), file_type="ply", process=False)
        points, faces = np.array(mesh.vertices, dtype=np.float64), np.array(mesh.faces, dtype=np.int64)
    except (Exception, SystemExit) as fault:  # noqa: BLE001 - a foreign parser may raise or exit anyhow
        raise source.error(
            "",
            f"body cannot be read ({type(fault).__name__}: {plain(fault, 80)})",
            f"{vertices:,} vertices and {facets:,} facets",
            AGAIN,
        ) from None
    if len(points) != vertices or len(faces) < facets:
        raise source.error(
            "",
            f"header says {vertices:,} vertices and {facets:,} facets, the body holds {len(points):,} and "
            f"{len(faces):,}",
            "as many as the header says",
            "the file is damaged; " + AGAIN,
        )
    return Loaded(f"{'ASCII' if encoding == 'ascii' else 'binary'} PLY", (Part("", points, faces),))


def _header(source: Source) -> tuple[str, dict[str, int], int, int]:
    """Return the encoding, the number of each element, the fewest bytes of the body and where it starts."""
    kind = real_type(source.data)
    if kind != "PLY":
        raise source.error(
            "",
            f"is not PLY: its content is {kind or 'something else'}",
            "a PLY file",
            "give the file its right ending or export PLY",
        )
    end = re.search(rb"end_header\r?\n?", source.data[:_LONGEST_HEADER])
    if end is None:
        raise source.error("header", "no end_header line", "a PLY file", "the file is cut short; " + AGAIN)
    encoding, counts, least = _read_header(source, source.data[: end.start()].decode("latin-1"))
    if not encoding or not counts.get("vertex") or not counts.get("face"):
        raise source.error(
            "header",
            "no format, no vertices or no faces",
            "format, element vertex, element face",
            "export a mesh, not points",
        )
    return encoding, counts, least, end.end()


def _check_length(source: Source, body: bytes, counts: dict[str, int], least: int) -> None:
    """Refuse a body shorter than the header says: a binary one by its bytes, an ASCII one (`least` 0) by its lines."""
    lines = sum(counts.values()) - body.rstrip().count(b"\n") - 1
    missing, unit = (least - len(body), "bytes") if least else (lines, "lines")
    if missing > 0:
        raise source.error(
            "",
            f"{missing:,} {unit} missing: the header says {counts['vertex']:,} vertices and {counts['face']:,} facets",
            "a whole file",
            "the file is cut short; " + AGAIN,
        )


def _read_header(source: Source, text: str) -> tuple[str, dict[str, int], int]:
    """Return encoding, element counts, and the fewest bytes a binary body can have, with triangles for facets."""
    encoding, element, least = "", "", 0
    counts: dict[str, int] = {}
    for number, line in enumerate(text.splitlines(), 1):
        match line.split():
            case ["format", name, "1.0"] if name in _FORMATS:
                encoding = name
            case ["element", element, count] if count.isascii() and count.isdecimal() and len(count) < 19:
                counts[element] = int(count)
            case ["property", "list", length, item, _] if length in _BYTES and item in _BYTES:
                least += counts.get(element, 0) * (_BYTES[length] + 3 * _BYTES[item] * (element == "face"))
            case ["property", item, _] if item in _BYTES:
                least += counts.get(element, 0) * _BYTES[item]
            case ["ply"] | ["comment", *_] | ["obj_info", *_] | []:
                pass
            case _:
                raise source.error(f"line {number}", f"'{plain(line, 60)}' is not a PLY header line", "", AGAIN)
    return encoding, counts, least
