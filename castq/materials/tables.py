"""Strict reading of material tables: castq's own and those that a plant writes in the same form."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Final, TypeVar, get_args

import numpy as np
from numpy.typing import NDArray

from castq.core.errors import Fault, InputError, input_error, nearest, plain
from castq.core.relation import Provenance
from castq.core.toml_table import Table, parse_toml
from castq.materials.types import Alloy, Coating, DieMaterial, Sourced

Material = TypeVar("Material", bound=Alloy | DieMaterial | Coating)
Bounds = Mapping[str, tuple[float, float, str]]

# Plausible range of each value: wide enough for any metal of the kind, narrow enough to catch a wrong unit.
ALLOY_VALUES: Final[Bounds] = {
    "liquidus_c": (560.0, 665.0, "degC"),
    "eutectic_c": (480.0, 665.0, "degC"),
    "end_of_freezing_c": (450.0, 665.0, "degC"),
    "latent_heat_kj_kg": (300.0, 600.0, "kJ/kg"),
    "cp_solid_j_kgk": (700.0, 1500.0, "J/kgK"),
    "cp_liquid_j_kgk": (700.0, 1500.0, "J/kgK"),
    "k_solid_w_mk": (60.0, 250.0, "W/mK"),
    "k_liquid_w_mk": (30.0, 250.0, "W/mK"),
    "density_kg_m3": (2200.0, 2900.0, "kg/m3"),
    "density_cold_kg_m3": (2500.0, 2900.0, "kg/m3"),
    "shrinkage_pct": (1.0, 8.0, "%"),
    "coherency_fs": (0.05, 0.5, "fraction"),
    "cutoff_fs": (0.3, 0.95, "fraction"),
}
DIE_VALUES: Final[Bounds] = {
    "k_w_mk": (0.1, 450.0, "W/mK"),
    "density_kg_m3": (500.0, 20000.0, "kg/m3"),
    "cp_j_kgk": (100.0, 2500.0, "J/kgK"),
}
COATING_VALUES: Final[Bounds] = {
    "k_w_mk": (0.02, 50.0, "W/mK"),
    "thickness_um": (0.0, 2000.0, "um"),
    "roughness_gas_um": (1.0, 200.0, "um"),
}
# Largest content of each element in a foundry alloy of this family [wt%].
ELEMENT_MAX_WT_PCT: Final[Mapping[str, float]] = {
    "Si": 14.0, "Mg": 1.2, "Fe": 2.0, "Cu": 5.0, "Mn": 1.0, "Zn": 3.0, "Ti": 0.5, "Sr": 0.1, "Na": 0.1, "Sb": 0.5,
    "Ni": 1.5, "Cr": 0.5, "Pb": 0.3, "Sn": 0.3, "B": 0.1, "Be": 0.1, "V": 0.3, "Zr": 0.5,
}  # fmt: skip


def find(name: str, records: Mapping[str, Material], what: str) -> Material:
    """Return the material of that id or alias; capitals and spaces do not matter, everything else does.

    Raises
    ------
    InputError
        If no material has this name; the nearest names are given, never taken.
    """
    for record in records.values():
        if _key(name) in {_key(other) for other in (record.id, *record.aliases)}:
            return record
    names = [other for record in records.values() for other in (record.id, *record.aliases)]
    raise input_error(what, "", f"'{plain(name, 60)}' is not a known {what}", "", nearest(name, names))


def load_alloys(path: Path) -> dict[str, Alloy]:
    """Return the alloys of a TOML file of `[[alloy]]` tables, by id."""
    return _load(path, "alloy", _alloy)


def load_die_materials(path: Path) -> dict[str, DieMaterial]:
    """Return the die materials of a TOML file of `[[die]]` tables, by id."""
    return _load(path, "die", _die_material)


def load_coatings(path: Path) -> dict[str, Coating]:
    """Return the coatings of a TOML file of `[[coating]]` tables, by id."""
    return _load(path, "coating", _coating)


def _key(name: str) -> str:
    return "".join(name.split()).casefold()


def _read(path: Path) -> bytes:
    """Return the bytes of a plant's table; the reason why it cannot be read becomes an `InputError`."""
    try:
        # Devices and pipes are no tables: reading one would never end.
        if path.exists() and not path.is_file():
            raise input_error(path.name, "", "cannot be read (not a file)", "a TOML file", f"check the path {path}")
        return path.read_bytes()
    except (OSError, ValueError) as exc:
        reason = exc.strerror if isinstance(exc, OSError) and exc.strerror else str(exc)
        raise input_error(path.name, "", f"cannot be read ({reason})", "a TOML file", f"check the path {path}") from exc


def _load(path: Path, key: str, build: Callable[[Table], Material | None]) -> dict[str, Material]:
    faults: list[Fault] = []
    top = Table(parse_toml(_read(path), path.name), path.name, "", faults)
    rows = top.tables(key)
    if not rows and not faults:
        top.fault("", f"holds no [[{key}]] table", "", f"begin each one with a line [[{key}]]")
    records = [record for record in map(build, rows) if record is not None]
    top.close()
    _check_names(top, records)
    if faults:
        raise InputError(faults)
    return {record.id: record for record in records}


def _check_names(top: Table, records: Sequence[Material]) -> None:
    """Note a fault for each name that two materials share."""
    bearer: dict[str, str] = {}
    for record in records:
        for name in dict.fromkeys(_key(other) for other in (record.id, *record.aliases)):
            if name in bearer:
                top.fault("", f"'{record.id}' and '{bearer[name]}' share the name '{name}'", "", "give it to one only")
            bearer[name] = record.id


def _begin(row: Table) -> tuple[str, tuple[str, ...]]:
    """Return id and aliases of a material."""
    row.require(["id"])
    return row.text("id", max_length=60) or "", tuple(row.texts("aliases") or [])


def _sourced(row: Table) -> Sourced:
    """Return source, provenance and one-sigma of a table."""
    row.require(["source", "provenance", "one_sigma"])
    source = row.text("source", max_length=400) or ""
    provenance: Provenance | None = row.text("provenance", get_args(Provenance))  # type: ignore[assignment]
    return Sourced(source, provenance or "practice", row.number("one_sigma", 0.0, 1.0) or 0.0)


def _values(row: Table, bounds: Bounds) -> tuple[dict[str, float], dict[str, Sourced]]:
    """Return the values of a material and their sources, both by field name."""
    row.require(bounds)
    values: dict[str, float] = {}
    sources: dict[str, Sourced] = {}
    for name, (low, high, unit) in bounds.items():
        entry = row.table(name)
        if entry is None:
            continue
        entry.require(["value"])
        value = entry.number("value", low, high, unit)
        sources[name] = _sourced(entry)
        entry.close()
        if value is not None:
            values[name] = value
    return values, sources


def _die_material(row: Table) -> DieMaterial | None:
    before = len(row.faults)
    name, aliases = _begin(row)
    values, sources = _values(row, DIE_VALUES)
    row.close()
    return None if len(row.faults) > before else DieMaterial(name, aliases, **values, sources=MappingProxyType(sources))


def _coating(row: Table) -> Coating | None:
    before = len(row.faults)
    name, aliases = _begin(row)
    values, sources = _values(row, COATING_VALUES)
    row.close()
    return None if len(row.faults) > before else Coating(name, aliases, **values, sources=MappingProxyType(sources))


def _alloy(row: Table) -> Alloy | None:
    before = len(row.faults)
    name, aliases = _begin(row)
    row.require(["heat_treatable", "composition", "fraction_solid"])
    heat_treatable = row.flag("heat_treatable")
    values, sources = _values(row, ALLOY_VALUES)
    limits, nominal = _composition(row, sources)
    temp_c, fraction = _fraction_solid(row, sources)
    row.close()
    if len(row.faults) == before:
        _check_temperatures(row, values, temp_c, fraction)
    if len(row.faults) > before:
        return None
    return Alloy(
        name,
        aliases,
        MappingProxyType(limits),
        MappingProxyType(nominal),
        **values,
        fraction_solid_temp_c=_frozen(temp_c),
        fraction_solid=_frozen(fraction),
        heat_treatable=bool(heat_treatable),
        sources=MappingProxyType(sources),
    )


def _frozen(values: Sequence[float]) -> NDArray[np.float64]:
    array = np.array(values, dtype=float)
    array.flags.writeable = False
    return array


def _composition(row: Table, sources: dict[str, Sourced]) -> tuple[dict[str, tuple[float, float]], dict[str, float]]:
    """Return the composition range and the nominal composition [wt%]."""
    table = row.table("composition")
    if table is None:
        return {}, {}
    table.require(["range_wt_pct", "nominal_wt_pct", "source", "provenance"])
    # A composition range has no error band of its own.
    entry = Table({**table.data, "one_sigma": 0.0}, table.source, table.place, table.faults)
    sources["composition_wt_pct"] = _sourced(entry)
    table.taken |= {"source", "provenance"}
    ranges, contents = table.table("range_wt_pct"), table.table("nominal_wt_pct")
    table.close()
    limits: dict[str, tuple[float, float]] = {}
    nominal: dict[str, float] = {}
    for element in ranges.data if ranges else ():
        pair = ranges.numbers(element, 0.0, _element_max(ranges, element), "wt%") if ranges else None
        if ranges and pair is not None and (len(pair) != 2 or pair[0] > pair[1]):
            ranges.fault(element, f"{pair} is not a range", "[low, high] in wt%", "write the lower limit first")
        elif pair is not None:
            limits[element] = (pair[0], pair[1])
    for element in contents.data if contents else ():
        value = contents.number(element, 0.0, _element_max(contents, element), "wt%") if contents else None
        if contents and value is not None:
            nominal[element] = value
            _check_nominal(contents, element, value, limits)
    if ranges and "Si" not in ranges.data:
        ranges.fault("Si", "is missing", "a range for silicon", "add Si = [low, high]")
    if contents:
        for element in ("Si", "Mg", "Fe", "Cu"):
            if element not in contents.data:
                contents.fault(element, "is missing", "", f"add {element} = ... (0 if there is none)")
    return limits, nominal


def _element_max(table: Table, element: str) -> float:
    """Return the largest plausible content of an element, with a fault for an unknown one."""
    if element not in ELEMENT_MAX_WT_PCT:
        table.fault(element, "is not an element castq knows here", "", nearest(element, list(ELEMENT_MAX_WT_PCT)))
    return ELEMENT_MAX_WT_PCT.get(element, 100.0)


def _check_nominal(table: Table, element: str, value: float, limits: Mapping[str, tuple[float, float]]) -> None:
    low, high = limits.get(element, (0.0, 100.0))
    if not low <= value <= high:
        table.fault(
            element, f"{value:g} wt% lies outside its own range", f"{low:g} to {high:g} wt%", "correct one of the two"
        )


def _fraction_solid(row: Table, sources: dict[str, Sourced]) -> tuple[list[float], list[float]]:
    """Return the fraction-solid table: temperatures [degC] and fractions [-]."""
    table = row.table("fraction_solid")
    if table is None:
        return [], []
    table.require(["temp_c", "fraction"])
    sources["fraction_solid"] = _sourced(table)
    temp_c = table.numbers("temp_c", 400.0, 700.0, "degC")
    fraction = table.numbers("fraction", 0.0, 1.0)
    table.close()
    if temp_c is None or fraction is None:
        return [], []
    if len(temp_c) != len(fraction) or len(temp_c) < 5:
        table.fault(
            "fraction",
            f"has {len(fraction)} numbers for {len(temp_c)} temperatures",
            "as many of each, at least 5",
            "write one fraction for each temperature",
        )
    elif np.any(np.diff(temp_c) >= 0):
        table.fault("temp_c", "does not fall from one to the next", "", "list temperatures from liquidus down")
    elif np.any(np.diff(fraction) < 0) or fraction[0] != 0.0 or fraction[-1] != 1.0:
        table.fault("fraction", "does not rise from 0 to 1", "", "begin with 0 at the liquidus, end with 1")
    return temp_c, fraction


def _check_temperatures(row: Table, values: Mapping[str, float], temp_c: list[float], fraction: list[float]) -> None:
    """Note a fault where the temperatures of an alloy contradict each other."""
    liquidus, eutectic, end = values["liquidus_c"], values["eutectic_c"], values["end_of_freezing_c"]
    if not liquidus > eutectic >= end:
        row.fault(
            "liquidus_c",
            f"liquidus {liquidus:g}, eutectic {eutectic:g}, end of freezing {end:g} degC are out of order",
            "each lower than the one before",
            "check the three temperatures",
        )
    elif temp_c[0] != liquidus or temp_c[-1] != end:
        row.fault(
            "fraction_solid",
            f"runs from {temp_c[0]:g} to {temp_c[-1]:g} degC",
            f"liquidus {liquidus:g} to end of freezing {end:g} degC",
            "begin and end the table there",
        )
    if values["coherency_fs"] >= values["cutoff_fs"]:
        row.fault("coherency_fs", "is not below cutoff_fs", "", "grains touch before feed metal stops passing")
