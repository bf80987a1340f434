"""3MF core: the archive checked before it is unpacked, then objects placed as the build section says."""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Iterator

import numpy as np

from castq.core.errors import plain
from castq.files.parts import Loaded, Part
from castq.files.source import Source, real_type
from castq.files.threemfxml import AGAIN, UNITS_MM, Key, Matrix, Model, read_model, too_many

_SHORT = {"millimeter": "mm", "centimeter": "cm", "meter": "m"}
# Geometry text shrinks about tenfold; a hundredfold is a bomb. Practice.
_MOST_BYTES = 800_000_000
_MOST_RATIO = 100
_SLACK_BYTES = 1_000_000
_DEEPEST = 16


def read_3mf(source: Source, max_facets: int) -> Loaded:
    """Return the build items of a 3MF file, each object's mesh as one part, in the unit of the file.

    Parameters
    ----------
    source : Source
        The file.
    max_facets : int
        Largest number of facets accepted [-].

    Raises
    ------
    InputError
        If the archive or its XML is damaged, hostile, or builds nothing.
    """
    model = Model()
    for path, xml in _model_parts(source):
        read_model(source, path, xml, model, max_facets)
    if not model.items:
        raise source.error("build", "has no items", "at least one item", "export a model with something to build")
    parts: list[Part] = []
    facets = 0
    for key, transform in model.items:
        for part in _placed(source, model, key, transform, 0):
            facets += len(part.faces)
            if facets > max_facets:
                raise too_many(source, max_facets)
            parts.append(part)
    if not parts:
        raise source.error("build", "builds objects without facets", "a mesh", AGAIN)
    return Loaded("3MF", tuple(parts), UNITS_MM[model.unit], _SHORT.get(model.unit, model.unit))


def _model_parts(source: Source) -> list[tuple[str, bytes]]:
    """Return name and content of each model part after checking names and sizes, before anything is unpacked."""
    kind = real_type(source.data)
    if kind != "ZIP":
        raise source.error(
            "",
            f"is not 3MF: its content is {kind or 'something else'}",
            "a 3MF file",
            "give the file its right ending or export 3MF",
        )
    try:
        with zipfile.ZipFile(io.BytesIO(source.data)) as archive:
            _check_archive(source, archive.infolist())
            models = [entry for entry in archive.infolist() if entry.filename.lower().endswith(".model")]
            return [(entry.filename, archive.read(entry)) for entry in models]
    except (zipfile.BadZipFile, OSError, EOFError, NotImplementedError, RuntimeError, ValueError, zlib.error) as fault:
        raise source.error("archive", f"is damaged ({plain(fault, 80)})", "a whole ZIP archive", AGAIN) from None


def _check_archive(source: Source, entries: list[zipfile.ZipInfo]) -> None:
    trust = "do not trust this file; " + AGAIN
    for entry in entries:
        name = entry.filename.replace("\\", "/")
        if name.startswith("/") or ":" in name or ".." in name.split("/"):
            found = f"holds the path '{plain(name, 80)}' that leads outside"
            raise source.error("archive", found, "plain names", trust)
        if entry.flag_bits & 1:
            raise source.error("archive", "is encrypted", "an open archive", "export without a password")
    total = sum(entry.file_size for entry in entries)
    if total > min(_MOST_BYTES, _MOST_RATIO * len(source.data) + _SLACK_BYTES):
        raise source.error(
            "archive",
            f"unpacks from {len(source.data):,} to {total:,} bytes",
            f"at most {_MOST_RATIO} times the file and {_MOST_BYTES:,} bytes",
            trust,
        )
    if not any(entry.filename.lower().endswith(".model") for entry in entries):
        raise source.error("archive", "is a ZIP without a 3D model", "a 3MF file", "export 3MF")


def _placed(source: Source, model: Model, key: Key, transform: Matrix, depth: int) -> Iterator[Part]:
    """Give an object and its components, moved by `transform`; a mirrored one is turned so that it still faces out."""
    if depth > _DEEPEST:
        raise source.error(f"object {key[1]}", "components hold each other without end", "a tree of components", AGAIN)
    if key not in model.meshes and key not in model.components:
        raise source.error(f"object {plain(key[1], 40)}", "is built but not there", "an object with this id", AGAIN)
    if key in model.meshes:
        points, faces = model.meshes[key]
        turned = faces[:, ::-1] if np.linalg.det(transform[:3]) < 0.0 else faces
        yield Part(model.names[key], points @ transform[:3] + transform[3], turned)
    for other, inner in model.components.get(key, ()):
        moved = np.vstack([inner[:3] @ transform[:3], inner[3] @ transform[:3] + transform[3]])
        yield from _placed(source, model, other, moved, depth + 1)
