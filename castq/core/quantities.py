"""The closed unit table: text that people write becomes a plain float in castq's unit.

People write `"12 mm"`, `"0,12 ml/100g"` or `"705 degC"`; inside castq a number is a plain float whose
unit is in its name. A unit that is not in the table is refused, never guessed.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from castq.core.errors import InputError, input_error, nearest, plain


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit: value_in_base = (value + shift) * factor."""

    factor: float
    shift: float = 0.0


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of quantity with its base unit, an example to show, and the units it may be written in."""

    base: str
    example: str
    units: dict[str, Unit]


# 1 ml (273.15 K, 1 atm) of H2 per 100 g is 0.8994 ppm by mass:
# 2.01588 g/mol over 22 413.97 ml/mol (CODATA molar volume, IUPAC atomic weight; from memory).
PPM_PER_ML_100G = 2.01588 / 22413.97 * 1e4

KINDS: dict[str, Kind] = {
    "length_mm": Kind(
        "mm",
        "12 mm",
        {
            "mm": Unit(1.0),
            "cm": Unit(10.0),
            "m": Unit(1000.0),
            "um": Unit(1e-3),
            "µm": Unit(1e-3),
            "in": Unit(25.4),
            "inch": Unit(25.4),
        },
    ),
    "length_um": Kind(
        "um",
        "150 um",
        {
            "um": Unit(1.0),
            "µm": Unit(1.0),
            "mm": Unit(1000.0),
            "mil": Unit(25.4),
        },
    ),
    "temperature_c": Kind(
        "degC",
        "705 degC",
        {
            "degC": Unit(1.0),
            "°C": Unit(1.0),
            "C": Unit(1.0),
            "K": Unit(1.0, -273.15),
            "degF": Unit(5.0 / 9.0, -32.0),
            "°F": Unit(5.0 / 9.0, -32.0),
            "F": Unit(5.0 / 9.0, -32.0),
        },
    ),
    "temperature_step_k": Kind(
        "K",
        "25 K",
        {
            "K": Unit(1.0),
            "degC": Unit(1.0),
            "degF": Unit(5.0 / 9.0),
        },
    ),
    "hydrogen_ml_100g": Kind(
        "ml/100g",
        "0.12 ml/100g",
        {
            "ml/100g": Unit(1.0),
            "mL/100g": Unit(1.0),
            "cm3/100g": Unit(1.0),
            "cc/100g": Unit(1.0),
            "ppm": Unit(1.0 / PPM_PER_ML_100G),
        },
    ),
    "pressure_bar": Kind(
        "bar",
        "0.8 bar",
        {
            "bar": Unit(1.0),
            "mbar": Unit(1e-3),
            "kPa": Unit(0.01),
            "MPa": Unit(10.0),
            "Pa": Unit(1e-5),
            "hPa": Unit(1e-3),
            "atm": Unit(1.01325),
            "psi": Unit(0.0689475729),
            "mmHg": Unit(1.33322387e-3),
        },
    ),
    "time_s": Kind(
        "s",
        "90 s",
        {
            "s": Unit(1.0),
            "min": Unit(60.0),
            "h": Unit(3600.0),
            "ms": Unit(1e-3),
        },
    ),
    "time_h": Kind("h", "6 h", {"h": Unit(1.0), "min": Unit(1.0 / 60.0), "s": Unit(1.0 / 3600.0)}),
    "density_g_cm3": Kind(
        "g/cm3",
        "2.65 g/cm3",
        {
            "g/cm3": Unit(1.0),
            "g/cm³": Unit(1.0),
            "kg/dm3": Unit(1.0),
            "kg/m3": Unit(1e-3),
            "kg/m³": Unit(1e-3),
        },
    ),
    "heat_transfer_w_m2k": Kind(
        "W/m2K",
        "1500 W/m2K",
        {
            "W/m2K": Unit(1.0),
            "W/m²K": Unit(1.0),
            "W/(m2K)": Unit(1.0),
            "W/(m²K)": Unit(1.0),
            "W/(m2.K)": Unit(1.0),
            "kW/m2K": Unit(1000.0),
        },
    ),
    "cooling_rate_k_s": Kind(
        "K/s",
        "30 K/s",
        {
            "K/s": Unit(1.0),
            "degC/s": Unit(1.0),
            "°C/s": Unit(1.0),
            "K/min": Unit(1.0 / 60.0),
        },
    ),
    "mass_kg": Kind("kg", "9.8 kg", {"kg": Unit(1.0), "g": Unit(1e-3), "t": Unit(1000.0), "lb": Unit(0.45359237)}),
    "volume_cm3": Kind(
        "cm3",
        "420 cm3",
        {
            "cm3": Unit(1.0),
            "cm³": Unit(1.0),
            "mm3": Unit(1e-3),
            "mm³": Unit(1e-3),
            "dm3": Unit(1000.0),
            "l": Unit(1000.0),
            "L": Unit(1000.0),
        },
    ),
    "stress_mpa": Kind(
        "MPa",
        "200 MPa",
        {
            "MPa": Unit(1.0),
            "N/mm2": Unit(1.0),
            "N/mm²": Unit(1.0),
            "ksi": Unit(6.894757),
        },
    ),
    "mass_fraction_wt_pct": Kind("wt%", "0.35 wt%", {"wt%": Unit(1.0), "%": Unit(1.0), "ppm": Unit(1e-4)}),
    "mass_fraction_ppm": Kind("ppm", "150 ppm", {"ppm": Unit(1.0), "wt%": Unit(1e4), "%": Unit(1e4)}),
    "hardness_hb": Kind("HB", "90 HB", {"HB": Unit(1.0), "HBW": Unit(1.0)}),
    "percent": Kind("%", "4 %", {"%": Unit(1.0), "pct": Unit(1.0)}),
}

_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_MAX_CHARACTERS = 60


def parse_number(text: str, source: str = "input", place: str = "") -> float:
    """Return the finite float written in `text`; a decimal comma is read where it can mean nothing else.

    Raises
    ------
    InputError
        If the text is not one number, is ambiguous (`1,234` or `1.234,5`) or is not finite.
    """
    written = text.strip()
    example = 'write it with a decimal point, for example "12.5"'
    if len(written) > _MAX_CHARACTERS or not _NUMBER.fullmatch(written):
        shown = plain(written, _MAX_CHARACTERS)
        raise input_error(source, place, f"'{shown}' is not a number", "a plain decimal number", example)
    mantissa = re.split("[eE]", written)[0]
    if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", mantissa):
        raise input_error(
            source, place, f"'{written}' can mean a decimal comma or a thousands comma", "one reading only", example
        )
    value = float(written.replace(",", "."))
    if not math.isfinite(value):
        raise input_error(source, place, f"'{written}' is not finite", "a finite number", example)
    return value


def parse_quantity(text: object, kind: str, source: str = "input", place: str = "") -> float:
    """Return a written quantity as a float in the base unit of `kind`.

    Parameters
    ----------
    text : object
        What the user wrote; only text such as `"12 mm"` is accepted.
    kind : str
        A key of `KINDS`, for example `"length_mm"`.
    source, place : str
        File and place, for the error message.

    Raises
    ------
    InputError
        If the unit is missing or unknown, or the number is not a finite number.
    """
    allowed = KINDS[kind]
    if not isinstance(text, str):
        raise input_error(
            source,
            place,
            f"{text!r} has no unit",
            f'a quantity such as "{allowed.example}"',
            "write the number with its unit, in quotes",
        )
    written = text.strip()
    match = _NUMBER.match(written)
    if match is None or len(written) > _MAX_CHARACTERS:
        shown = plain(written, _MAX_CHARACTERS)
        words = "does not start with a number" if match is None else "is too long for a quantity"
        raise input_error(
            source,
            place,
            f"'{shown}' {words}",
            f'a quantity such as "{allowed.example}"',
            "write the number with its unit, in quotes",
        )
    value = parse_number(match.group(), source, place)
    name = written[match.end() :].strip()
    if not name:
        raise input_error(
            source, place, f"'{written}' has no unit", f'a quantity such as "{allowed.example}"', "add the unit"
        )
    unit = allowed.units.get(name) or allowed.units.get(name.replace(" ", ""))
    if unit is None:
        raise input_error(
            source,
            place,
            f"unit '{name}' in '{written}' is not one castq reads here",
            f'a quantity such as "{allowed.example}"',
            nearest(name, list(allowed.units)),
        )
    return (value + unit.shift) * unit.factor


def is_quantity(text: object, kind: str) -> bool:
    """Return whether `parse_quantity` would accept the text."""
    try:
        parse_quantity(text, kind)
    except InputError:
        return False
    return True
