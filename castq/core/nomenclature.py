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
}  # fmt: skip


def unit_of(name: str) -> str | None:
    """Return the unit that the longest known suffix of `name` stands for, or None."""
    for start in range(len(name)):
        if name[start] == "_" and name[start:] in SUFFIX_UNITS:
            return SUFFIX_UNITS[name[start:]]
    return None
