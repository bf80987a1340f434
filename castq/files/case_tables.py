"""The tables of a case file, one reader each: written quantities in, frozen records out."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final, TypeVar, cast

from castq.core.errors import InputError, plain
from castq.core.toml_table import Table
from castq.files.case_defaults import (
    CLEANLINESS,
    COATED_INTERFACE,
    COATING_KEYS,
    DEFAULTS,
    DIE_TEMP_C,
    GENERIC_INTERFACE,
    fill,
    house_limits,
    operator_of,
)
from castq.geometry.roles import ROLES
from castq.materials import Coating, DieMaterial, coating, die_material
from castq.physics.interface import contact_coefficient, gap_coefficient
from castq.screening.types import Calibration, CoatingLayer, Limit, Melt, Tool, Treatment

Record = TypeVar("Record", DieMaterial, Coating)

# field of the record: (key, kind of quantity, lowest, highest in the kind's base unit)
Spec = Mapping[str, tuple[str, str, float, float]]

MELT: Final[Spec] = {
    "hydrogen_ml_100g": ("hydrogen", "hydrogen_ml_100g", 0.0, 1.2),
    "magnesium_wt_pct": ("magnesium", "mass_fraction_wt_pct", 0.0, 1.2),
    "iron_wt_pct": ("iron", "mass_fraction_wt_pct", 0.0, 2.0),
    "silicon_wt_pct": ("silicon", "mass_fraction_wt_pct", 4.0, 12.6),
    "copper_wt_pct": ("copper", "mass_fraction_wt_pct", 0.0, 5.0),
    "strontium_ppm": ("strontium", "mass_fraction_ppm", 0.0, 1000.0),
}
TOOL: Final[Spec] = {
    "die_wall_mm": ("die_wall", "length_mm", 3.0, 500.0),
    "hold_pressure_bar": ("hold_pressure", "pressure_bar", 0.0, 5.0),
    "metal_head_mm": ("metal_head", "length_mm", 0.0, 3000.0),
}
TREATMENT: Final[Spec] = {
    "solution_time_h": ("solution_time", "time_h", 0.05, 100.0),
    "solution_temp_c": ("solution_temp", "temperature_c", 450.0, 600.0),
    "ageing_time_h": ("ageing_time", "time_h", 0.05, 200.0),
    "ageing_temp_c": ("ageing_temp", "temperature_c", 80.0, 300.0),
    "quench_rate_k_s": ("quench_rate", "cooling_rate_k_s", 0.02, 500.0),
}
# Which part of the treatment each temper has.
PARTS: Final[dict[str, tuple[str, ...]]] = {
    "F": (), "T4": ("solution",), "T5": ("ageing",), "T6": ("solution", "ageing"),
}  # fmt: skip
LIMITS: Final[Spec] = {
    "elongation_min": ("elongation_pct", "percent", 0.1, 30.0),
    "ys_min": ("ys_mpa", "stress_mpa", 20.0, 450.0),
    "uts_min": ("uts_mpa", "stress_mpa", 40.0, 500.0),
    "quality_index_min": ("quality_index_mpa", "stress_mpa", 50.0, 700.0),
    "fatigue_min": ("fatigue_strength_mpa", "stress_mpa", 10.0, 250.0),
    "hardness_min": ("hardness_hb", "hardness_hb", 30.0, 160.0),
    "hardness_max": ("hardness_hb", "hardness_hb", 30.0, 160.0),
    "sdas_max": ("sdas_um", "length_um", 5.0, 300.0),
    "porosity_max": ("porosity_pct", "percent", 0.01, 10.0),
    "gas_porosity_max": ("gas_porosity_pct", "percent", 0.01, 10.0),
    "shrinkage_porosity_max": ("shrinkage_porosity_pct", "percent", 0.01, 10.0),
    "largest_pore_max": ("largest_pore_um", "length_um", 10.0, 10000.0),
}
INTERFACE: Final[Spec] = {
    key: (key, "heat_transfer_w_m2k", 20.0, 30000.0) for key in ("contact_coefficient", "gap_coefficient")
}
DIE_TEMP_RANGE_C: Final = (20.0, 1000.0)
# The melt temperature is read widely here and judged against the alloy later, where more can be said about a slip.
MELT_TEMP: Final[Spec] = {"melt_temp_c": ("melt_temp", "temperature_c", -273.15, 5000.0)}
ROUTES: Final = ("low-pressure", "gravity")
# key: (field of `Calibration`, uncertain input whose spread it narrows, lowest, highest)
CALIBRATION: Final[dict[str, tuple[str, str, float, float]]] = {
    "sdas_prefactor": ("sdas_prefactor_um", "SDAS relation", 4.0, 20.0),
    "interface_factor": ("interface_factor", "interface", 0.1, 10.0),
    "porosity_factor": ("porosity_factor", "gas porosity estimate", 0.05, 20.0),
    "elongation_factor": ("elongation_factor", "elongation", 0.1, 10.0),
}


def read_quantities(table: Table, spec: Spec) -> dict[str, float]:
    """Return the quantities of a table by field name.

    One that is missing or at fault is NaN: its fault is noted, no comparison with it holds, and the case is refused
    in the end, so that the rest of the file can still be read and judged.
    """
    found = {field: table.quantity(key, kind, low, high) for field, (key, kind, low, high) in spec.items()}
    return {field: math.nan if value is None else value for field, value in found.items()}


def file_at(table: Table, key: str, folder: Path) -> Path | None:
    """Return the file named at a key, None when none is; one that is not there is noted as a fault.

    Parameters
    ----------
    table : Table
        Where it is named.
    key : str
        Key of the name.
    folder : Path
        Folder the name is relative to.
    """
    text = table.text(key, max_length=1000)
    if text is None:
        return None
    for found in _file_faults(folder / text):
        table.fault(key, found, "", "check the name; paths in a case file are relative to it")
    return folder / text


def _file_faults(path: Path) -> Iterator[str]:
    name = plain(path.name or path, 60)
    try:
        if path.is_dir():
            yield f"'{name}' is a folder"
        elif not path.exists():
            yield f"there is no file '{name}'"
    except OSError as exc:
        yield f"'{name}' cannot be read ({exc.strerror})"


def read_melt(melt: Table, process: Table) -> Melt:
    """Return the melt; its temperature stands with the process."""
    values = read_quantities(melt, MELT)
    cleanliness = melt.text("cleanliness", tuple(CLEANLINESS))
    temp = read_quantities(process, MELT_TEMP)
    melt.close()
    return Melt(cleanliness=CLEANLINESS.get(cleanliness or "", math.nan), **values, **temp)


def read_tool(process: Table, used: list[str]) -> Tool:
    """Return the tool."""
    route = process.text("route", ROUTES) or ROUTES[0]
    if route == "gravity" and process.has("hold_pressure"):
        process.fault("hold_pressure", "gravity casting has none", "", 'remove it, or write route = "low-pressure"')
    process = fill(process, DEFAULTS, used, route)
    contact, gap, coat = _interface(process, used)
    tool = Tool(
        route=cast("Any", route),
        die=known_material(process, "die_material", die_material, "H13"),
        die_temp_c=_die_temp(process, used),
        contact_w_m2k=contact,
        gap_w_m2k=gap,
        rim_flow_formed=bool(process.flag("rim_flow_formed")),
        coating=coat,
        **read_quantities(process, TOOL),
    )
    process.taken.add("melt_temp")
    process.close()
    return tool


def known_material(table: Table, key: str, lookup: Callable[[str], Record], stand_in: str) -> Record:
    """Return the material named at a key; an unknown name is noted as a fault and the stand-in returned.

    Parameters
    ----------
    table : Table
        Where it is named.
    key : str
        Key of the name.
    lookup : callable
        Finds the record of a name.
    stand_in : str
        Name taken when none is given, or an unknown one.
    """
    name = table.text(key)
    try:
        return lookup(stand_in if name is None else name)
    except InputError as exc:
        table.fault(key, exc.faults[0].found, "", exc.faults[0].mend)
        return lookup(stand_in)


def _by_role(table: Table, key: str, kind: str, low: float, high: float) -> dict[str, float]:
    """Return the quantities of a sub-table keyed by zone of the wheel."""
    part = table.table(key)
    if part is None:
        return {}
    part.taken |= set(ROLES)
    part.close()
    spec = {role: (role, kind, low, high) for role in ROLES if part.has(role)}
    return read_quantities(part, spec)


def _die_temp(process: Table, used: list[str]) -> dict[str, float]:
    """Return the die temperature at the start of the shot, by role [degC]."""
    by_zone = _by_role(process, "die_temp_by_zone", "temperature_c", *DIE_TEMP_RANGE_C)
    overall = process.quantity("die_temp", "temperature_c", *DIE_TEMP_RANGE_C)
    if process.has("die_temp"):
        return dict.fromkeys(ROLES, math.nan if overall is None else overall) | by_zone
    missing = {role: temp for role, temp in DIE_TEMP_C.items() if role not in by_zone}
    if missing:
        shown = ", ".join(f"{role} {temp:g}" for role, temp in missing.items())
        used.append(
            f"process.die_temp_by_zone = {shown} degC (usual ranges, falling from gate to rim end; common practice)"
        )
    return missing | by_zone


def _interface(process: Table, used: list[str]) -> tuple[dict[str, float], dict[str, float], CoatingLayer | None]:
    """Return the interface coefficients before and after the gap opens, by role [W/m2K], and the coating behind."""
    coated = any(process.has(key) for key in COATING_KEYS)
    process = fill(process, COATED_INTERFACE if coated else GENERIC_INTERFACE, used)
    contact, gap, coat = _coated(process, used) if coated else ({}, {}, None)
    given = read_quantities(process, {key: entry for key, entry in INTERFACE.items() if process.has(key)})
    process.taken |= {*INTERFACE, *COATING_KEYS}
    if "contact_coefficient" in given:
        contact = dict.fromkeys(ROLES, given["contact_coefficient"])
    if "gap_coefficient" in given:
        gap = dict.fromkeys(ROLES, given["gap_coefficient"])
    if any(gap[role] > contact[role] for role in ROLES):
        process.fault("gap_coefficient", "is above the one in contact", "less heat across a gap", "exchange the two")
    return contact, gap, coat


def _coated(process: Table, used: list[str]) -> tuple[dict[str, float], dict[str, float], CoatingLayer]:
    """Return the coefficients of a coated die: coating, gas layer of its roughness and gap in series [W/m2K]."""
    layer: Coating = known_material(process, "coating", coating, "insulating oxide")
    overall = process.quantity("coating_thickness", "length_um", 0.0, 1000.0)
    if not process.has("coating_thickness"):
        overall = layer.thickness_um
        used.append(f"process.coating_thickness = {overall:g} um (usual for {layer.id})")
    by_zone = _by_role(process, "coating_thickness_by_zone", "length_um", 0.0, 1000.0)
    gap_um = process.quantity("gap", "length_um", 1.0, 1000.0)
    thickness = dict.fromkeys(ROLES, math.nan if overall is None else overall) | by_zone
    opened = math.nan if gap_um is None else gap_um
    contact = {
        role: float(contact_coefficient(coat, layer.k_w_mk, layer.roughness_gas_um)) for role, coat in thickness.items()
    }
    gaps = {role: float(gap_coefficient(before, opened)) for role, before in contact.items()}
    return contact, gaps, CoatingLayer(layer.id, layer.k_w_mk, thickness)


def read_treatment(table: Table, used: list[str]) -> Treatment:
    """Return the heat treatment; a temper that lacks a step has zero time there."""
    temper = table.text("temper", tuple(PARTS)) or "T6"
    for step in ("solution", "ageing"):
        for key in (f"{step}_temp", f"{step}_time"):
            if step not in PARTS[temper] and table.has(key):
                table.fault(key, f"temper {temper} has no {step} treatment", "", "remove it, or choose another temper")
    table = fill(table, DEFAULTS, used, temper)
    wanted = {
        field: entry
        for field, entry in TREATMENT.items()
        if field.split("_")[0] in (*PARTS[temper], "quench")
        and (field != "quench_rate_k_s" or table.has("quench_rate"))
    }
    values = dict.fromkeys(TREATMENT, 0.0) | read_quantities(table, wanted)
    table.taken |= {key for key, *_ in TREATMENT.values()}
    table.close()
    return Treatment(temper=cast("Any", temper), **values)


def read_limits(table: Table, temper: str, used: list[str]) -> tuple[Limit, ...]:
    """Return the limits: those of the case by role, before those for all, before castq's house limits."""
    own: dict[tuple[str, str, str], float] = {}
    for name in ("all", *ROLES):
        part = table.table(name)
        if part is None:
            continue
        present = {key: (key, *rest[1:]) for key, rest in LIMITS.items() if part.has(key)}
        for key, value in read_quantities(part, present).items():
            for role in ROLES if name == "all" else (name,):
                own[role, LIMITS[key][0], operator_of("", key)] = value
        part.taken |= set(LIMITS)
        part.close()
    table.close()
    kept = [house for house in house_limits(temper) if not any(key[:2] == (house.role, house.quantity) for key in own)]
    for role in ROLES:
        shown = ", ".join(f"{h.quantity} {h.operator} {h.value:g}" for h in kept if h.role == role)
        if shown:
            used.append(f"limits.{role} = {shown} (house default, not a standard)")
    given = [Limit(role, quantity, cast("Any", side), value, False) for (role, quantity, side), value in own.items()]
    return tuple(given + kept)


def read_calibration(table: Table) -> Calibration:
    """Return the plant's constants; each may carry the spread that remains after calibration, in its own unit."""
    name = table.text("name", max_length=100)
    if table.data and not table.has("name"):
        table.fault("name", "is missing", "", 'name the calibration, for example name = "line 2, week 14"')
    values, spreads = {}, {}
    for key, (field, uncertain, low, high) in CALIBRATION.items():
        value = table.number(key, low, high)
        sigma = table.number(f"{key}_sigma", 0.0, high)
        if value is not None:
            values[field] = value
        if sigma is not None and not table.has(key):
            table.fault(f"{key}_sigma", f"stands without {key}", "", f"add {key}, or remove it")
        elif sigma is not None and value is not None:
            spreads[uncertain] = sigma / value
    table.close()
    return Calibration(name=name or "", one_sigma=spreads, **values)
