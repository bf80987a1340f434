"""The wheel as parameters: the `[wheel]` table of a case file, in place of a shape file."""

from __future__ import annotations

from dataclasses import fields
from typing import Any, Final

from castq.core.errors import InputError
from castq.core.toml_table import Table
from castq.geometry.wheel_design import WheelDesign

# Even facets colour better in a picture than the slivers of a plain revolve [mm].
FACET_MM: Final = 10.0
# Widest range of any length of a wheel [mm]; what cannot be made is told by the design itself.
LENGTH_MM: Final = (-600.0, 1200.0)
COUNTS: Final[dict[str, tuple[int, int]]] = {"bolts": (3, 10), "spokes": (3, 24), "segments": (48, 1440)}
FLAGS: Final = ("twin",)
# The wheel is named by its case.
NAME: Final = "name"


def _keys() -> dict[str, str]:
    """Return the key in the case file of each field of the design: its name without the unit."""
    return {entry.name: entry.name.removesuffix("_mm") for entry in fields(WheelDesign) if entry.name != NAME}


def read_wheel(table: Table, name: str, used: list[str]) -> WheelDesign | None:
    """Return the wheel that a `[wheel]` table describes; None when the table is at fault, its faults noted.

    Parameters
    ----------
    table : Table
        The table.
    name : str
        Name of the case.
    used : list of str
        Receives each measure that is not given, as "wheel.key = value (why)".
    """
    keys, values = _keys(), {}
    before = len(table.faults)
    for field, key in keys.items():
        if not table.has(key):
            table.taken.add(key)
            used.append(f"wheel.{key} = {_written(getattr(WheelDesign(), field), field)} (invented wheel of castq)")
            continue
        value = _read(table, field, key)
        if value is not None:
            values[field] = value
    table.close()
    if len(table.faults) > before:
        return None
    design = WheelDesign(**{NAME: name, **values})
    try:
        design.validate()
    except InputError as error:
        for fault in error.faults:
            table.fault(keys.get(fault.place, fault.place), fault.found, fault.expected, "change the measure")
        return None
    return design


def _read(table: Table, field: str, key: str) -> Any:
    if field in FLAGS:
        return table.flag(key)
    if field not in COUNTS:
        return table.quantity(key, "length_mm", *LENGTH_MM)
    count = table.number(key, *COUNTS[field])
    if count is not None and count != int(count):
        table.fault(key, f"{count:g} is not a whole number", "a count", "write a whole number")
        return None
    return None if count is None else int(count)


def _written(value: object, field: str) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value:g} mm"' if field.endswith("_mm") else str(value)


def wheel_table(design: WheelDesign) -> str:
    """Return a design as the `[wheel]` table of a case file, every measure written out.

    Parameters
    ----------
    design : WheelDesign
        The wheel.

    Returns
    -------
    str
        TOML.
    """
    lines = [f"{key} = {_written(getattr(design, field), field)}" for field, key in _keys().items()]
    return "\n".join(["[wheel]", *lines]) + "\n"
