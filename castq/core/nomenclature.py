"""The suffixes that carry units in names: the glossary that docstrings and tests are held against."""

from __future__ import annotations

# Version of the form of every JSON document castq writes; the first number changes when a reader would break.
SCHEMA_VERSION = "1.0"

SUFFIX_UNITS: dict[str, str] = {
    "_s": "s", "_h": "h", "_min": "min",
    "_mm": "mm", "_um": "um", "_m": "m", "_cm3": "cm3", "_mm2": "mm2", "_mm3": "mm3",
    "_c": "degC", "_k": "K", "_k_s": "K/s", "_k_per_s": "K/s", "_k_mm": "K/mm", "_s_mm": "s/mm",
    "_mpa": "MPa", "_bar": "bar", "_atm": "atm", "_hpa": "hPa", "_pct": "%", "_wt_pct": "wt%", "_ppm": "ppm",
    "_ml_100g": "ml/100g", "_w_m2k": "W/m2K", "_w_mk": "W/mK", "_j_kgk": "J/kgK", "_kj_kg": "kJ/kg",
    "_kg_m3": "kg/m3", "_g_cm3": "g/cm3", "_kg": "kg", "_hb": "HB", "_hv": "HV", "_n_m": "N/m", "_nm": "N m",
    "_deg": "deg",
}  # fmt: skip


def unit_suffix(name: str) -> str:
    """Return the longest known unit suffix of `name`, empty when it has none."""
    starts = (start for start, letter in enumerate(name) if letter == "_")
    return next((name[start:] for start in starts if name[start:] in SUFFIX_UNITS), "")


def unit_of(name: str) -> str | None:
    """Return the unit that the suffix of `name` stands for, or None."""
    return SUFFIX_UNITS.get(unit_suffix(name))


def in_words(name: str) -> str:
    """Return a name without its unit suffix, as words."""
    return name.removesuffix(unit_suffix(name)).replace("_", " ")
