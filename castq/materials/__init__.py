"""Alloys, die materials and die coatings, each value with its source.

castq's own tables stand beside this file; a plant adds its own with `load_alloys`, `load_die_materials` and
`load_coatings`.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache, lru_cache
from pathlib import Path
from types import MappingProxyType

from castq.materials.tables import find, load_alloys, load_coatings, load_die_materials
from castq.materials.types import Alloy, Coating, DieMaterial, Sourced

__all__ = [
    "Alloy",
    "Coating",
    "DieMaterial",
    "Sourced",
    "alloy",
    "alloy_names",
    "alloys",
    "coating",
    "coating_names",
    "coatings",
    "die_material",
    "die_material_names",
    "die_materials",
    "find",
    "load_alloys",
    "load_coatings",
    "load_die_materials",
]

_FOLDER = Path(__file__).parent


@cache
def alloys() -> Mapping[str, Alloy]:
    """Return castq's alloys by id."""
    return MappingProxyType(load_alloys(_FOLDER / "alloys.toml"))


@cache
def die_materials() -> Mapping[str, DieMaterial]:
    """Return castq's die, core and chill materials by id."""
    return MappingProxyType(load_die_materials(_FOLDER / "dies.toml"))


@cache
def coatings() -> Mapping[str, Coating]:
    """Return castq's die coatings by id."""
    return MappingProxyType(load_coatings(_FOLDER / "coatings.toml"))


@lru_cache(maxsize=256)
def alloy(name: str) -> Alloy:
    """Return the alloy of that id or alias; an unknown name is an `InputError` with the nearest names."""
    return find(name, alloys(), "alloy")


def die_material(name: str) -> DieMaterial:
    """Return the die material of that id or alias; an unknown name is an `InputError`."""
    return find(name, die_materials(), "die material")


def coating(name: str) -> Coating:
    """Return the die coating of that id or alias; an unknown name is an `InputError`."""
    return find(name, coatings(), "coating")


def alloy_names() -> tuple[str, ...]:
    """Return the ids of castq's alloys."""
    return tuple(alloys())


def die_material_names() -> tuple[str, ...]:
    """Return the ids of castq's die materials."""
    return tuple(die_materials())


def coating_names() -> tuple[str, ...]:
    """Return the ids of castq's coatings."""
    return tuple(coatings())
