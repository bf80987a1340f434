"""Every check row of every registered relation as a line of the validation table."""

from __future__ import annotations

import json
import re

import numpy as np

from castq.core.relation import REGISTRY, Band, Relation
from tests.published.test_checks import ROWS
from tests.validation.rows import Row

TOPICS = {
    "checks_metal": "Metal: phase diagram, heat and shrinkage of the alloy",
    "checks_freezing": "Freezing times in closed form, and the interface",
    "checks_wall": "Wall solver against a separate one-dimensional solution",
    "checks_structure": "Dendrite arm spacing",
    "checks_hydrogen": "Hydrogen",
    "checks_porosity": "Gas porosity",
    "checks_shrinkage": "Feeding and shrinkage",
    "checks_mechanical": "Strength, ductility, hardness, quality",
    "checks_fatigue": "Fatigue, largest defects, basis values, wheel tests",
    "checks_grid": "Grid convergence",
    "checks_degassing": "Degassing, density index and clocks of the melt",
    "checks_statistics": "Charts, studies and agreement",
}
# The wall solver on its default grid against a fine one: the bound held in tests/thermal/test_wall.py [-].
WALL_GRID = 0.002
WALL = ("wall-transient-1d", "wall-solid-time-1d")
_UNIT = re.compile(r"\[([^\]]+)\]")


def unit_of(entry: Relation) -> str:
    """Return the unit that the relation's docstring gives its result."""
    text = (entry.function.__doc__ or "").split("Returns")[-1].split("Notes")[0]
    found = _UNIT.findall(text)
    return ", ".join(dict.fromkeys(found))


def one_sigma(band: Band, value: float) -> float:
    """Return the relation's own band as one standard deviation at a value."""
    if band.kind == "relative":
        return band.one_sigma * abs(value)
    if band.kind == "factor":
        return (band.one_sigma - 1.0) * abs(value)
    return band.one_sigma if band.kind == "absolute" else 0.0


def relation_row(row: dict[str, str]) -> Row:
    """Return the line of a check row: of several values the one that uses most of its tolerance."""
    entry = REGISTRY[row["relation"]]
    got = np.asarray(entry.function(**json.loads(row["arguments"])), dtype=float)
    expected = np.asarray(json.loads(row["expected"]), dtype=float)
    s, d = (np.ravel(values) for values in np.broadcast_arrays(got, expected))
    allowed = float(row["rtol"] or 0) * np.abs(d) + float(row["atol"] or 0)
    same = (s == d) | (np.isnan(s) & np.isnan(d))
    with np.errstate(invalid="ignore"):
        used = np.where(same, 0.0, np.abs(s - d) / np.maximum(allowed, 1e-300))
    worst = int(np.argmax(np.where(np.isnan(used), np.inf, used)))
    stem = row["file"].removesuffix(".csv")
    value = float(s[worst])
    return Row(
        TOPICS.get(stem, stem.removeprefix("checks_")), entry.id, row["id"], value, float(d[worst]),
        float(allowed[worst]), u_num=WALL_GRID * abs(value) if entry.id in WALL else 0.0,
        u_input=one_sigma(entry.band, value), u_d=0.5 * float(allowed[worst]), kind=row["kind"], source=row["source"],
        provenance=row["provenance"], unit=unit_of(entry), count=s.size,
    )  # fmt: skip


def relation_rows() -> list[Row]:
    """Return the lines of all relations, by topic and relation."""
    order = {name: place for place, name in enumerate(TOPICS)}
    place = {entry: number for number, entry in enumerate(sorted(REGISTRY))}
    rows = sorted(ROWS, key=lambda row: (order.get(row["file"].removesuffix(".csv"), len(order)), row["file"],
                                         place[row["relation"]], row["id"]))  # fmt: skip
    return [relation_row(row) for row in rows]
