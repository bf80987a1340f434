"""STL, binary and ASCII, read strictly: nothing is dropped, and each fault is named with its facet or line."""

from __future__ import annotations

import struct

import numpy as np
from numpy.typing import NDArray

from castq.core.errors import plain
from castq.files.parts import Loaded, Part, soup
from castq.files.shells import LARGEST
from castq.files.source import Source, is_text, real_type
from castq.files.stltext import read_ascii

_HEAD = 84
_FACET = 50
_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_UTF16 = (
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
    (b"s\0o\0l\0i\0d\0", "utf-16-le"),
    (b"\0s\0o\0l\0i\0d", "utf-16-be"),
)
AGAIN = "export the file again"


def read_stl(source: Source, max_facets: int) -> Loaded:
    """Return the triangles of an STL file, in the unit of the file.

    Parameters
    ----------
    source : Source
        The file.
    max_facets : int
        Largest number of facets accepted [-].

    Raises
    ------
    InputError
        If the file is not an STL file, is damaged, or holds a number that cannot be a coordinate.
    """
    data = source.data
    for mark, encoding in _UTF16:
        if data.startswith(mark):
            return _ascii(source, _decoded(source, encoding), max_facets, (f"text is {encoding}; read as such",))
    if _length_fits(data):
        return _binary(source, max_facets)
    kind = real_type(data)
    if kind not in ("", "STL"):
        raise source.error(
            "", f"is not STL: its content is {kind}", "an STL file", "give the file its right ending or export STL"
        )
    if is_text(data):
        text = data.removeprefix(b"\xef\xbb\xbf")
        if kind != "STL":
            raise source.error(
                "line 1",
                f"text that does not start with 'solid': '{plain(text[:40].decode('latin-1'))}'",
                "an STL file",
                AGAIN,
            )
        return _ascii(source, text, max_facets, ())
    return _binary(source, max_facets)


def _length_fits(data: bytes) -> bool:
    """Return whether the length is exactly that of a binary STL with the count in its header."""
    return len(data) > _HEAD and len(data) == _HEAD + _FACET * struct.unpack_from("<I", data, 80)[0]


def _decoded(source: Source, encoding: str) -> bytes:
    try:
        return source.data.decode(encoding).lstrip("\ufeff").encode("latin-1", "replace")
    except UnicodeDecodeError:
        raise source.error("", f"is damaged {encoding} text", "an STL file", AGAIN) from None


def _ascii(source: Source, text: bytes, max_facets: int, warnings: tuple[str, ...]) -> Loaded:
    parts, more = read_ascii(source, text, max_facets)
    for part in parts:
        _check_numbers(source, part)
    return Loaded("ASCII STL", parts, warnings=warnings + more)


def _binary(source: Source, max_facets: int) -> Loaded:
    """Return the facets of a binary STL; the count is held against the length before anything is allocated."""
    data = source.data
    if len(data) < _HEAD:
        raise source.error(
            "",
            f"has {len(data)} bytes, {_HEAD - len(data)} bytes fewer than the head of a binary STL",
            "an STL file",
            AGAIN,
        )
    count = struct.unpack_from("<I", data, 80)[0]
    room = (len(data) - _HEAD) // _FACET
    if count == 0:
        raise source.error("header", f"says 0 facets; {len(data) - _HEAD:,} bytes follow", "at least 4 facets", AGAIN)
    if count > room:
        missing = _HEAD + _FACET * count - len(data)
        raise source.error(
            "header",
            f"says {count:,} facets, the file has {room:,}: {missing:,} bytes missing",
            f"{_HEAD + _FACET * count:,} bytes",
            "the file is cut short or is not STL; copy or export it again",
        )
    if count > max_facets:
        raise source.error(
            "header", f"says {count:,} facets", f"at most {max_facets:,} facets", "export with a coarser tolerance"
        )
    corners = np.frombuffer(data, _RECORD, count, _HEAD)["corners"]
    part = soup("", corners)
    _check_numbers(source, part)
    return Loaded("binary STL", (part,), warnings=_trailing(source, count, corners))


def _trailing(source: Source, count: int, corners: NDArray[np.float32]) -> tuple[str, ...]:
    """Return a warning about bytes after the last facet; refuse when they look like more facets."""
    extra = len(source.data) - _HEAD - _FACET * count
    if extra == 0:
        return ()
    if extra >= _FACET:
        more = np.frombuffer(source.data, _RECORD, 1, _HEAD + _FACET * count)["corners"].astype(float)
        span = corners.max(axis=(0, 1)) - corners.min(axis=(0, 1))
        inside = np.abs(more - corners.mean(axis=(0, 1), dtype=float)) <= 10.0 * span.max()
        if bool(inside.all()) and bool(np.ptp(more) > 0.0):
            raise source.error(
                "header",
                f"says {count:,} facets, the file has {count + extra // _FACET:,}",
                "a count that matches the length",
                "the header is wrong; " + AGAIN,
            )
    return (f"{extra:,} bytes after the last facet ignored",)


def _check_numbers(source: Source, part: Part) -> None:
    """Refuse coordinates that are not numbers or that no wheel can have in any unit."""
    low, high = part.vertices.min(), part.vertices.max()
    if -LARGEST <= low and high <= LARGEST:
        return
    good = np.abs(part.vertices) <= LARGEST
    row, column = np.argwhere(~good)[0]
    value = part.vertices[row, column]
    found = f"coordinate {value:g} is out of range" if np.isfinite(value) else f"coordinate is {value:g}, not a number"
    raise source.error(
        f"facet {row // 3 + 1}", found, f"finite coordinates within +/-{LARGEST:g}", "repair the model and " + AGAIN
    )
