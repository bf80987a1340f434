"""What a plant's table may give for each kind of entry: fields, their units, and what must be there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import get_args

from castq.core.quantities import KINDS, Unit
from castq.melt.types import AdditionKind, When


@dataclass(frozen=True, slots=True)
class Field:
    """One field of an entry.

    Attributes
    ----------
    words : str
        What it is.
    units : mapping of str to Unit
        Units it may be written in, by factors to the unit of the record; empty for a text or a number without unit.
    is_number : bool
        True for a number.
    needed : bool
        True when each entry must have it.
    choices : tuple of str
        What a text may say; empty for any.
    """

    words: str
    units: Mapping[str, Unit] = field(default_factory=dict)
    is_number: bool = False
    needed: bool = False
    choices: tuple[str, ...] = ()


def _number(words: str, units: Mapping[str, Unit] | str = "", scale: float = 1.0, *, needed: bool = False) -> Field:
    named = (KINDS[units].units if units else {}) if isinstance(units, str) else units
    scaled = {name: Unit(unit.factor * scale, unit.shift) for name, unit in named.items()}
    return Field(words, scaled, is_number=True, needed=needed)


_WEIGHT_IN_G = ("mass_kg", 1000.0)
_PER_MINUTE = {"l/min": Unit(1.0), "L/min": Unit(1.0), "m3/h": Unit(1000.0 / 60.0)}
# What the melt reaches is ppm of strontium but wt% of anything else: read as wt%, settled when the record is made.
_REACHES = {"wt%": Unit(1.0), "ppm": Unit(1e-4)}
_FURNACE = Field("name of the furnace", needed=True)

FIELDS: dict[str, dict[str, Field]] = {
    "sample": {
        "furnace": _FURNACE,
        "alloy": Field("name of the alloy", needed=True),
        "melt_temp": _number("melt temperature", "temperature_c", needed=True),
        "in_air_density": _number("density of the sample frozen in air", "density_g_cm3"),
        "in_vacuum_density": _number("density of the sample frozen at the test pressure", "density_g_cm3"),
        "in_air_weight": _number("sample frozen in air, weighed in air", *_WEIGHT_IN_G),
        "in_air_weight_in_water": _number("sample frozen in air, weighed in water", *_WEIGHT_IN_G),
        "in_vacuum_weight": _number("sample frozen at the test pressure, weighed in air", *_WEIGHT_IN_G),
        "in_vacuum_weight_in_water": _number("sample frozen at the test pressure, weighed in water", *_WEIGHT_IN_G),
        "water_temp": _number("temperature of the water", "temperature_c"),
        "test_pressure": _number("test pressure, absolute", "pressure_bar", 1000.0),
        "hydrogen": _number("reading of a hydrogen instrument", "hydrogen_ml_100g"),
        "hydrogen_sigma": _number("its standard deviation", "hydrogen_ml_100g"),
        "alloy_factor": _number("alloy factor set in the instrument"),
        "sampled_by": Field("who took it"),
        "after": Field("place in the work", choices=tuple(word for word in get_args(When) if word)),
        "note": Field("remark"),
    },
    "treatment": {
        "furnace": _FURNACE,
        "duration": _number("how long it ran", "time_s", 1.0 / 60.0, needed=True),
        "gas": Field("purge gas", needed=True),
        "gas_flow": _number("gas flow at 0 degC and 1 atm", _PER_MINUTE),
        "rotor": Field("rotor or lance"),
        "speed": _number("rotor speed", {"1/min": Unit(1.0), "rpm": Unit(1.0)}),
        "melt_mass": _number("melt treated", "mass_kg"),
    },
    "addition": {
        "furnace": _FURNACE,
        "added": Field("what was added", needed=True, choices=get_args(AdditionKind)),
        "amount": _number("how much", "mass_kg", needed=True),
        "reaches": _number("content that the melt reaches", _REACHES),
    },
    "air": {
        "air_temp": _number("air temperature at the furnace mouth", "temperature_c", needed=True),
        "humidity": _number("relative humidity", {"%": Unit(1.0), "fraction": Unit(100.0)}),
        "dew_point": _number("dew point", "temperature_c"),
    },
}

DENSITIES = ("in_air_density", "in_vacuum_density")
WEIGHTS = (("in_air_weight", "in_air_weight_in_water"), ("in_vacuum_weight", "in_vacuum_weight_in_water"))
ALL_WEIGHTS = (*WEIGHTS[0], *WEIGHTS[1], "water_temp")
# Numbers that may stand in a row in which nothing was measured.
SETTINGS = frozenset({"water_temp", "test_pressure"})
# Field behind each name that the records and checks of the melt desk use.
FIELD_OF = {
    "melt_temp_c": "melt_temp", "in_air_g_cm3": "in_air_density", "in_vacuum_g_cm3": "in_vacuum_density",
    "test_pressure_mbar": "test_pressure", "hydrogen_ml_100g": "hydrogen", "one_sigma_ml_100g": "hydrogen_sigma",
    "minutes": "duration", "gas_flow_nl_min": "gas_flow", "speed_rpm": "speed", "melt_kg": "melt_mass",
    "amount_kg": "amount", "air_temp_c": "air_temp", "relative_humidity_pct": "humidity", "dew_point_c": "dew_point",
    "water_temp_c": "water_temp",
}  # fmt: skip


def missing_fields(kind: str, given: frozenset[str]) -> list[tuple[str, str]]:
    """Return (field, why) for each field that a mapping must give as well.

    Parameters
    ----------
    kind : str
        Kind of entry.
    given : frozenset of str
        Fields that it gives.
    """
    missing = [(name, "each entry needs it") for name, one in FIELDS[kind].items() if one.needed and name not in given]
    if kind == "air" and not given & {"humidity", "dew_point"}:
        missing.append(("humidity", "humidity or dew_point is needed"))
    if kind != "sample":
        return missing
    by_density, by_weight = given & set(DENSITIES), given & set(ALL_WEIGHTS)
    if by_density:
        missing += [(name, "densities come in pairs") for name in DENSITIES if name not in given]
    if by_weight:
        missing += [(name, "a density needs all weights") for name in ALL_WEIGHTS if name not in given]
    if (by_density or by_weight) and "test_pressure" not in given:
        missing.append(("test_pressure", "a pair means nothing without it; it is never assumed"))
    if not by_density and not by_weight and "hydrogen" not in given:
        missing.append(("hydrogen", "a sample needs densities, weights or a hydrogen reading"))
    return missing
