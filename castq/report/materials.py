"""Cards of alloys, die materials and coatings: each value with its unit, source and spread."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from castq.core.errors import input_error, nearest
from castq.core.nomenclature import SCHEMA_VERSION, unit_of
from castq.core.relation import PROVENANCE_WORDS
from castq.materials import alloys, coatings, die_materials, find
from castq.materials.types import Alloy, Coating, DieMaterial

Material = Alloy | DieMaterial | Coating
GROUPS: dict[str, Callable[[], Mapping[str, Material]]] = {
    "alloys": alloys,
    "die materials": die_materials,
    "coatings": coatings,
}


@dataclass(frozen=True, slots=True)
class MaterialDocument:
    """A card or the overview, as data and as text."""

    data: dict[str, Any]
    lines: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the document as plain data."""
        return {"schema_version": SCHEMA_VERSION, **self.data}

    def text(self) -> str:
        """Return the document as text for a terminal."""
        return "\n".join(self.lines)


def material_overview() -> MaterialDocument:
    """Return the names and aliases of everything castq knows."""
    data: dict[str, Any] = {}
    lines = []
    for group, records in GROUPS.items():
        data[group.replace(" ", "_")] = {name: list(record.aliases) for name, record in records().items()}
        lines += ["", group.capitalize()]
        lines += [f"  {name:<22} {', '.join(record.aliases)}" for name, record in records().items()]
    return MaterialDocument(data, tuple(lines[1:]))


def material_card(name: str) -> MaterialDocument:
    """Return the card of one material.

    Parameters
    ----------
    name : str
        Id or alias.

    Raises
    ------
    InputError
        If no material has this name.
    """
    known: dict[str, Material] = {}
    for records in GROUPS.values():
        known |= records()
    words = [word for record in known.values() for word in (record.id, *record.aliases)]
    if name.casefold().replace(" ", "") not in {word.casefold().replace(" ", "") for word in words}:
        raise input_error("materials", name, "no material has this name", "", nearest(name, words))
    record = find(name, known, "material")
    values = {key: getattr(record, key) for key in record.sources if np.isscalar(getattr(record, key, None))}
    data: dict[str, Any] = {"id": record.id, "aliases": list(record.aliases), "values": {}}
    lines = [f"{record.id}   also: {', '.join(record.aliases) or '-'}", ""]
    for key, value in values.items():
        entry = record.sources[key]
        unit = unit_of(key) or "-"
        data["values"][key] = {
            "value": value, "unit": unit, "one_sigma": entry.one_sigma, "source": entry.source,
            "provenance": entry.provenance,
        }  # fmt: skip
        lines.append(f"  {key:<24} {value:>9.4g} {unit:<7} ±{100 * entry.one_sigma:g} %  {entry.source}")
        lines[-1] += f" ({PROVENANCE_WORDS[entry.provenance]})"
    if isinstance(record, Alloy):
        _add_composition(record, data, lines)
    return MaterialDocument(data, tuple(lines))


def _add_composition(alloy: Alloy, data: dict[str, Any], lines: list[str]) -> None:
    data["composition_wt_pct"] = {element: list(span) for element, span in alloy.composition_wt_pct.items()}
    data["fraction_solid"] = [
        [float(t), float(f)] for t, f in zip(alloy.fraction_solid_temp_c, alloy.fraction_solid, strict=True)
    ]
    spans = (f"{element} {low:g}-{high:g}" for element, (low, high) in alloy.composition_wt_pct.items())
    lines += ["", f"  composition, wt%: {', '.join(spans)}"]
    pairs = (f"{t:g}: {f:.3f}" for t, f in data["fraction_solid"])
    lines += [f"  fraction solid at degC: {', '.join(pairs)}"]
