"""One input file in memory: its bytes, its stamp, and what its first bytes say it really is."""

from __future__ import annotations

import hashlib
import stat
from dataclasses import dataclass
from pathlib import Path

from castq.core.errors import InputError, input_error
from castq.screening.types import InputFile

# First bytes (after white space) of files that people rename or fetch by mistake.
_SIGNATURES: tuple[tuple[bytes, str], ...] = (
    (b"<!doctype html", "HTML"),
    (b"<html", "HTML"),
    (b"<?xml", "XML"),
    (b"iso-10303-21", "STEP"),
    (b"pk\x03\x04", "ZIP"),
    (b"pk\x05\x06", "ZIP"),
    (b"ply\n", "PLY"),
    (b"ply\r", "PLY"),
    (b"gltf", "GLB"),
    (b"%pdf", "PDF"),
    (b"\x89png", "PNG"),
    (b"\xff\xd8\xff", "JPEG"),
    (b"\x1f\x8b", "gzip"),
    (b"rar!", "RAR"),
    (b"7z\xbc\xaf", "7z"),
    (b"\xd0\xcf\x11\xe0", "old Office (.doc, .xls)"),
    (b"solid", "STL"),
)


@dataclass(frozen=True, slots=True)
class Source:
    """A file that has been read.

    Attributes
    ----------
    path : Path
        Where it was read from.
    data : bytes
        Its content.
    input : InputFile
        Its name, sha256 and size.
    """

    path: Path
    data: bytes
    input: InputFile

    @property
    def name(self) -> str:
        """File name without folders."""
        return self.input.name

    def error(self, place: str, found: str, expected: str = "", mend: str = "") -> InputError:
        """Return an `InputError` that names this file."""
        return input_error(self.name, place, found, expected, mend)


def read_source(path: Path, limit_bytes: int) -> Source:
    """Return the content of a file.

    Parameters
    ----------
    path : Path
        The file.
    limit_bytes : int
        Largest size that is read [bytes].

    Raises
    ------
    InputError
        If it is missing, a folder, unreadable, empty or too large.
    """
    name = path.name or str(path)
    try:
        if path.is_dir():
            raise input_error(name, "", "is a folder, not a file", "one file", "give the file inside it")
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):
            raise input_error(name, "", "is a device or pipe, not a file", "one file", "give an ordinary file")
        if found.st_size > limit_bytes:
            raise input_error(
                name,
                "",
                f"has {found.st_size:,} bytes",
                f"at most {limit_bytes:,} bytes",
                "check that it is the right file; export a shape again with fewer facets",
            )
        data = path.read_bytes()
    except FileNotFoundError:
        raise input_error(name, "", "there is no such file", "", f"check the path {path}") from None
    except (OSError, ValueError) as fault:
        raise input_error(name, "", f"cannot be read ({fault})", "", "check the path and its permissions") from None
    if not data:
        raise input_error(name, "", "is empty (0 bytes)", "", "export or copy the file again")
    return Source(path, data, InputFile(name, hashlib.sha256(data).hexdigest(), len(data)))


def real_type(data: bytes) -> str:
    """Return the type that the first bytes of a file give away, or an empty text when they give none."""
    head = data[:512].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    for signature, name in _SIGNATURES:
        if head.startswith(signature):
            return name
    if head.startswith(b"<") and b"html" in head:
        return "HTML"
    return ""


def is_text(data: bytes) -> bool:
    """Return whether the first 4096 bytes hold no NUL and hardly a control character but white space."""
    head = data[:4096]
    control = head.translate(None, bytes(range(32, 127)) + bytes(range(128, 256)) + b"\t\r\n\f\v")
    return b"\0" not in control and 100 * len(control) <= len(head)
