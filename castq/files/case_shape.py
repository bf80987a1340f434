"""How the case file says to read its geometry: unit, body, axis, outboard side, zones given by hand."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from castq.core.toml_table import Table
from castq.geometry.roles import ROLES

if TYPE_CHECKING:
    from castq.geometry.zones import ZoneBox

AXES: Final[dict[str, tuple[float, float, float]]] = {
    "x": (1.0, 0.0, 0.0), "y": (0.0, 1.0, 0.0), "z": (0.0, 0.0, 1.0),
}  # fmt: skip
# Smallest and largest voxel for a wheel [mm].
VOXEL_MM: Final = (0.3, 10.0)
UNITS: Final[dict[str, str]] = {"mm": "mm", "cm": "cm", "m": "m", "inch": "inch", "in": "inch"}


@dataclass(frozen=True, slots=True)
class Shape:
    """How to read the geometry file: unit, body, voxel size [mm], axis and outboard side [-], zones given by hand."""

    units: str
    body: str
    voxel_mm: float
    axis: tuple[float, float, float] | None
    outboard: int | None
    overrides: tuple[ZoneBox, ...]


def read_shape(table: Table) -> Shape:
    """Return how to read the geometry file."""
    units = table.text("units", tuple(UNITS)) or ""
    axis, letter = _axis(table)
    outboard: int | None = None
    side = table.text("outboard", tuple(f"{sign}{name}" for name in AXES for sign in "+-"))
    if side is not None:
        outboard = 1 if side[0] == "+" else -1
        if axis is None:
            axis = AXES[side[1]]
        elif letter != side[1]:
            table.fault("outboard", f"'{side}' does not lie on the axis", "", "give both along the same axis")
    shape = Shape(
        units=UNITS.get(units, ""),
        body=table.text("body") or "",
        voxel_mm=table.quantity("voxel", "length_mm", *VOXEL_MM) or math.nan,
        axis=axis,
        outboard=outboard,
        overrides=_zones(table),
    )
    table.close()
    return shape


def _axis(table: Table) -> tuple[tuple[float, float, float] | None, str]:
    """Return the wheel axis and, when it is a coordinate axis, its letter."""
    if type(table.data.get("axis")) is not list:
        letter = table.text("axis", tuple(AXES)) or ""
        return AXES.get(letter), letter
    vector = table.numbers("axis", -1e6, 1e6)
    if vector is None:
        return None, ""
    if len(vector) != 3 or not any(vector):
        table.fault("axis", f"{vector} is not a direction", "three numbers, not all zero", "write axis = [0, 0, 1]")
        return None, ""
    letters = [name for name, unit in AXES.items() if [bool(v) for v in vector] == [bool(u) for u in unit]]
    return (vector[0], vector[1], vector[2]), letters[0] if letters and max(vector) > 0 else ""


def _zones(table: Table) -> tuple[ZoneBox, ...]:
    """Return the zones given by hand."""
    rows = table.tables("zone")
    if not rows:
        return ()
    # The voxel code behind zones is slow to load and needed only here.
    from castq.geometry.zones import ZoneBox

    boxes = []
    for row in rows:
        row.require(("role", "radius", "height"))
        role = row.text("role", ROLES)
        radius, height = span(row, "radius", 0.0), span(row, "height", -600.0)
        row.close()
        if role and radius and height:
            boxes.append(ZoneBox(role, radius, height))
    return tuple(boxes)


def span(row: Table, key: str, low: float) -> tuple[float, float] | None:
    """Return a pair of lengths, the smaller first [mm]; None with a fault when it is not one.

    Parameters
    ----------
    row : Table
        Where it stands.
    key : str
        Its key.
    low : float
        Lowest value allowed [mm].
    """
    pair = row.texts(key)
    if pair is None:
        return None
    if len(pair) != 2:
        row.fault(key, f"holds {len(pair)} lengths", '["0 mm", "75 mm"]', "write the lower and the upper end")
        return None
    ends = [row.quantity_of(key, text, "length_mm", low, 600.0) for text in pair]
    if ends[0] is None or ends[1] is None:
        return None
    if ends[0] >= ends[1]:
        row.fault(key, f"runs from {pair[0]} to {pair[1]}", "the lower end first", "exchange the two")
        return None
    return ends[0], ends[1]
