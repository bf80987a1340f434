"""The XML of a 3MF model part: unit, objects, components and build items; entities are forbidden."""

from __future__ import annotations

import io
from array import array
from collections.abc import Mapping
from dataclasses import dataclass, field
from xml.etree.ElementTree import ParseError

import numpy as np
from defusedxml import DefusedXmlException
from defusedxml.ElementTree import iterparse
from numpy.typing import NDArray

from castq.core.errors import InputError, plain
from castq.files.source import Source

UNITS_MM = {"micron": 1e-3, "millimeter": 1.0, "centimeter": 10.0, "inch": 25.4, "foot": 304.8, "meter": 1000.0}
AGAIN = "export the file again"

Key = tuple[str, str]
Matrix = NDArray[np.float64]


@dataclass
class Model:
    """What the model parts of the archive hold; objects are keyed by model part and id."""

    unit: str = "millimeter"
    names: dict[Key, str] = field(default_factory=dict)
    meshes: dict[Key, tuple[NDArray[np.float64], NDArray[np.int64]]] = field(default_factory=dict)
    components: dict[Key, list[tuple[Key, Matrix]]] = field(default_factory=dict)
    items: list[tuple[Key, Matrix]] = field(default_factory=list)


def read_model(source: Source, path: str, xml: bytes, model: Model, max_facets: int) -> None:
    """Add one model part to `model`.

    Parameters
    ----------
    source : Source
        The file, for messages.
    path : str
        Name of the part inside the archive.
    xml : bytes
        Its content.
    model : Model
        Where the objects go.
    max_facets : int
        Largest number of facets accepted [-].

    Raises
    ------
    InputError
        If the XML is damaged, hostile, or a value in it cannot be read.
    """
    key: Key = (path, "")
    points, corners = array("d"), array("q")
    try:
        for event, element in iterparse(io.BytesIO(xml), events=("start", "end"), forbid_dtd=True):
            tag = element.tag.rpartition("}")[2]
            values = element.attrib
            if event == "start":
                if tag == "object":
                    key = (path, values.get("id", ""))
                    model.names[key] = plain(values.get("name", ""), 60)
                    points, corners = array("d"), array("q")
                elif tag == "model" and path.lower() == "3d/3dmodel.model":
                    model.unit = _unit(source, values.get("unit", "millimeter"))
                continue
            if tag == "vertex":
                points.extend(_float(source, key, len(points) // 3, values, name) for name in ("x", "y", "z"))
            elif tag == "triangle":
                corners.extend(_index(source, key, len(corners) // 3, values, name) for name in ("v1", "v2", "v3"))
                if len(corners) > 3 * max_facets:
                    raise too_many(source, max_facets)
            elif tag == "mesh":
                model.meshes[key] = (np.array(points).reshape(-1, 3), np.array(corners, np.int64).reshape(-1, 3))
            elif tag == "component":
                model.components.setdefault(key, []).append(_reference(source, path, values))
            elif tag == "item":
                model.items.append(_reference(source, path, values))
            element.clear()
    except ParseError as fault:
        raise source.error(path, f"XML is damaged ({plain(fault, 80)})", "a whole 3MF file", AGAIN) from None
    except DefusedXmlException as fault:
        raise source.error(
            path, f"XML with {type(fault).__name__} is refused", "plain 3MF", "do not trust this file; " + AGAIN
        ) from None


def too_many(source: Source, max_facets: int) -> InputError:
    """Return the error for a model with more than `max_facets` facets [-]."""
    return source.error(
        "", f"has more than {max_facets:,} facets", f"at most {max_facets:,}", "export with a coarser tolerance"
    )


def _unit(source: Source, unit: str) -> str:
    if unit not in UNITS_MM:
        raise source.error("model", f"unit '{plain(unit, 40)}' is not one of 3MF", ", ".join(UNITS_MM), AGAIN)
    return unit


def _float(source: Source, key: Key, number: int, values: Mapping[str, str], name: str) -> float:
    try:
        value = float(values[name])
    except (KeyError, ValueError):
        value = float("nan")
    if not abs(value) <= 1e7:
        comma = "export with a decimal point" if "," in values.get(name, "") else "repair the model and export again"
        raise source.error(
            f"object {key[1]}, vertex {number + 1}",
            f"{name} is '{plain(values.get(name, 'missing'), 40)}'",
            "a finite number",
            comma,
        )
    return value


def _index(source: Source, key: Key, number: int, values: Mapping[str, str], name: str) -> int:
    text = values.get(name, "")
    if not (text.isascii() and text.isdecimal() and len(text) < 10):
        raise source.error(
            f"object {key[1]}, triangle {number + 1}",
            f"{name} is '{plain(text or 'missing', 40)}'",
            "a vertex number",
            AGAIN,
        )
    return int(text)


def _reference(source: Source, path: str, values: Mapping[str, str]) -> tuple[Key, Matrix]:
    """Return which object is meant and its 4 x 3 transform, for row vectors."""
    other = next((value for name, value in values.items() if name.rpartition("}")[2] == "path"), path)
    text = values.get("transform", "1 0 0 0 1 0 0 0 1 0 0 0")
    try:
        matrix = np.array([float(word) for word in text.split()]).reshape(4, 3)
    except ValueError:
        matrix = np.full((4, 3), np.nan)
    if not np.isfinite(matrix).all():
        raise source.error("transform", f"'{plain(text, 60)}'", "12 finite numbers", AGAIN)
    return (other.lstrip("/"), values.get("objectid", "")), matrix
