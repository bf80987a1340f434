"""What a case file need not say: every default with its reason, in one table."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from castq.core.toml_table import Table
from castq.geometry.roles import ROLES
from castq.materials import Alloy
from castq.screening.columns import BY_NAME
from castq.screening.types import Limit


@dataclass(frozen=True, slots=True)
class Default:
    """A default of one key.

    Attributes
    ----------
    table, key : str
        Where it stands in the case file.
    value : object
        As it would be written there.
    reason : str
        Why this value, in a few words.
    only : tuple of str
        Routes or tempers for which it holds; empty for all.
    """

    table: str
    key: str
    value: Any
    reason: str
    only: tuple[str, ...] = ()


_TREATED = ("T4", "T6")
_AGED = ("T5", "T6")
DEFAULTS: Final[tuple[Default, ...]] = (
    Default("shape", "voxel", "2 mm", "resolves a 4 mm wall; common practice"),
    Default("process", "route", "low-pressure", "usual process for wheels"),
    Default("process", "melt_temp", "705 degC", "low-pressure wheels, 690 to 730 degC"),
    Default("process", "die_material", "H13", "usual die steel"),
    Default("process", "die_wall", "40 mm", "common practice"),
    Default("process", "hold_pressure", "0.8 bar", "low-pressure wheels, 0.5 to 1.0 bar", ("low-pressure",)),
    Default("process", "hold_pressure", "0 bar", "gravity casting", ("gravity",)),
    Default("process", "metal_head", "0 mm", "the hold pressure carries the head", ("low-pressure",)),
    Default("process", "metal_head", "150 mm", "common practice", ("gravity",)),
    Default("process", "rim_flow_formed", False, "taken as cast to shape"),
    Default("melt", "hydrogen", "0.12 ml/100g", "usual target after degassing, 0.10 to 0.12"),
    Default("melt", "strontium", "150 ppm", "usual for modified alloy, 100 to 250 ppm"),
    Default("melt", "cleanliness", "ordinary", "no measurement given"),
    Default("melt", "iron", "0.10 wt%", "wheel plants hold 0.08 to 0.12 wt%"),
    Default("heat_treatment", "solution_temp", "540 degC", "usual, 535 to 540 degC", _TREATED),
    Default("heat_treatment", "solution_time", "6 h", "usual", _TREATED),
    Default("heat_treatment", "ageing_temp", "170 degC", "usual", _AGED),
    Default("heat_treatment", "ageing_time", "6 h", "usual", _AGED),
    Default("heat_treatment", "quench_rate", "30 K/s", "warm-water quench of a wheel; common practice"),
)

# Interface: the generic pair, unless the case says how the die is coated. Then coating, roughness and gap in series.
GENERIC_INTERFACE: Final[tuple[Default, ...]] = (
    Default("process", "contact_coefficient", "1500 W/m2K", "coated low-pressure die, 1500 to 2500 in contact"),
    Default("process", "gap_coefficient", "500 W/m2K", "coated low-pressure die, 300 to 700 after the gap opens"),
)
COATED_INTERFACE: Final[tuple[Default, ...]] = (
    Default("process", "coating", "insulating oxide", "usual in wheel dies"),
    Default("process", "gap", "100 um", "common practice, 50 to 200 um"),
)
COATING_KEYS: Final = ("coating", "coating_thickness", "coating_thickness_by_zone", "gap")

# Die temperature at the start of the shot [degC]: within the usual ranges of top core (350 to 420), junction
# (380 to 450) and side cores (300 to 400), falling from gate to rim end as a tool is run. Common practice, no source.
DIE_TEMP_C: Final[dict[str, float]] = {
    "hub": 390.0,
    "bolt seat": 390.0,
    "spoke-hub junction": 380.0,
    "spoke": 370.0,
    "spoke-rim junction": 380.0,
    "rim well": 340.0,
    "inboard flange": 310.0,
    "outboard flange": 330.0,
}
CLEANLINESS: Final[dict[str, float]] = {"clean": 0.5, "ordinary": 1.0, "oxide-rich": 2.0}

# House limits, not a standard: the drawing's limits replace them. Common practice, no source.
_RIM = ("rim well", "inboard flange", "outboard flange")
_SPOKE = ("spoke", "spoke-rim junction")
HOUSE_LIMITS: Final[dict[str, dict[str, float]]] = {
    "rim": {"sdas_um": 35.0, "porosity_pct": 0.5, "largest_pore_um": 1000.0},
    "spoke": {"sdas_um": 50.0, "porosity_pct": 1.0, "largest_pore_um": 1500.0},
    "hub": {"sdas_um": 65.0, "porosity_pct": 1.5, "largest_pore_um": 2000.0},
}
HOUSE_STRENGTH_T6: Final[dict[str, dict[str, float]]] = {
    "rim": {"elongation_pct": 7.0, "ys_mpa": 180.0, "uts_mpa": 250.0},
    "spoke": {"elongation_pct": 5.0, "ys_mpa": 180.0, "uts_mpa": 250.0},
    "hub": {"elongation_pct": 4.0, "ys_mpa": 180.0, "uts_mpa": 250.0},
}


def operator_of(quantity: str, key: str = "") -> str:
    """Return the side that passes: from the key's ending when it has one, else from the column's better way."""
    if key:
        return ">=" if key.endswith("_min") else "<="
    return ">=" if BY_NAME[quantity].better == "higher" else "<="


def house_limits(temper: str) -> tuple[Limit, ...]:
    """Return castq's house limits; those on strength hold for temper T6 only."""
    limits = []
    for role in ROLES:
        place = "rim" if role in _RIM else "spoke" if role in _SPOKE else "hub"
        found = {**(HOUSE_STRENGTH_T6[place] if temper == "T6" else {}), **HOUSE_LIMITS[place]}
        for quantity, value in found.items():
            limits.append(Limit(role, quantity, operator_of(quantity), value, house_default=True))  # type: ignore[arg-type]
    return tuple(limits)


def alloy_defaults(alloy: Alloy) -> tuple[Default, ...]:
    """Return the defaults that come from the alloy: its nominal composition and its usual temper."""
    nominal, why = alloy.nominal_wt_pct, f"nominal of {alloy.id}"
    temper = ("T6", "usual for wheels") if alloy.heat_treatable else ("F", f"{alloy.id} is not age-hardened")
    return (
        *(
            Default("melt", key, f"{nominal[element]:g} wt%", why)
            for key, element in (("magnesium", "Mg"), ("silicon", "Si"), ("copper", "Cu"))
        ),
        Default("heat_treatment", "temper", *temper),
    )


def fill(table: Table, defaults: Iterable[Default], used: list[str], chosen: str = "") -> Table:
    """Return the table with defaults for the keys it lacks; note each one used.

    Parameters
    ----------
    table : Table
        As read from the file.
    defaults : iterable of Default
        Candidates; those of other tables, or for another choice, are passed over.
    used : list of str
        Receives "key = value (reason)" for each default taken.
    chosen : str
        Route or temper that selects among the candidates.
    """
    data = dict(table.data)
    for entry in defaults:
        if entry.table == table.place and entry.key not in data and (not entry.only or chosen in entry.only):
            data[entry.key] = entry.value
            shown = str(entry.value).lower() if isinstance(entry.value, bool) else entry.value
            used.append(f"{entry.table}.{entry.key} = {shown} ({entry.reason})")
    filled = Table(data, table.source, table.place, table.faults)
    filled.taken = table.taken
    return filled
