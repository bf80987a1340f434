"""Relations against measured series that were not used to make them, or whose part in them is named."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from castq.core.relation import REGISTRY
from tests.validation.relations import one_sigma
from tests.validation.rows import Row

FOLDER = Path(__file__).parents[2] / "datasets" / "published"
TOPIC = "Measured series"


def table(name: str) -> list[dict[str, str]]:
    lines = (FOLDER / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def line(relation: str, what: str, id: str, d: float, u_d: float, source: str, provenance: str, unit: str, note: str,
         **arguments: float) -> Row:  # fmt: skip
    """Return the line of a relation at one measured point, two standard deviations of both allowed."""
    entry = REGISTRY[relation]
    s = float(entry.function(**arguments))
    sigma = one_sigma(entry.band, s)
    return Row(TOPIC, what, id, s, d, 2.0 * float(np.hypot(sigma, u_d)), u_input=sigma, u_d=u_d, kind="measured",
               source=source, provenance=provenance, unit=unit, note=note)  # fmt: skip


def spacing_rows() -> Iterator[Row]:
    what = "sdas-cube-root-time: exponent of measured pairs (S = 1/3)"
    source = "arm spacing against local solidification time, directional solidification, public research script"
    pairs = table("sdas_time_pairs.csv")
    alloys = {"1": "Al-0.8Si-0.6Mg-0.2Fe", "2": "alloy not named", "3": "perhaps an earlier reading of set 1"}
    for name, alloy in alloys.items():
        rows = [row for row in pairs if row["set"] == name]
        x, y = (np.log([float(row[key]) for row in rows]) for key in ("local_solidification_time_s", "sdas_um"))
        (slope, _), spread = np.polyfit(x, y, 1, cov=True)
        u_d = float(np.sqrt(spread[0, 0]))
        note = f"{alloy}; u_D: standard error of the fit"
        yield Row(TOPIC, what, f"set {name}, {len(rows)} pairs", 1.0 / 3.0, float(slope), 0.05, u_d=u_d, note=note,
                  kind="measured", source=source, provenance="read", unit="-")  # fmt: skip
    what = "sdas-cube-root-time: spacing of another alloy, prefactor of A356"
    about = (source, "read", "um", "not A356: the prefactor belongs to the alloy; u_D: mean error bar")
    for row in (row for row in pairs if row["set"] == "1"):
        bars = 0.5 * (float(row["error_low_um"]) + float(row["error_high_um"]))
        time_s = float(row["local_solidification_time_s"])
        yield line("sdas-cube-root-time", what, f"{time_s:g} s", float(row["sdas_um"]), bars, *about,
                   local_solidification_time_s=time_s)  # fmt: skip


def hydrogen_rows() -> Iterator[Row]:
    what = "hydrogen-liquid-talbot-anyalebechi: liquid aluminium at 1 atm"
    for row in table("vashchenko_1972_hydrogen.csv"):
        temp_c = float(row["temp_k"]) - 273.15
        about = ("Vashchenko and others 1972, printed table", "read", "mL/100 g", "an outlier; no error given")
        yield line("hydrogen-liquid-talbot-anyalebechi", what, f"{temp_c:.0f} degC", float(row["solubility_ml_100g"]),
                   0.0, *about, temp_c=temp_c)  # fmt: skip


def tensile_rows() -> Iterator[Row]:
    rows = table("tensile_rows.csv")
    for row in rows:
        values = [row["ys_mpa"], row["uts_mpa"], row["elongation_pct"]]
        if not all(values) or row["kind"] == "range mid-point":
            continue
        ys, uts, el = (float(value) for value in values)
        seen = "used in the fit of the hardening exponent" if row["in_fit"] == "yes" else "not used in any fit"
        name = f"row {row['row']}: {row['alloy']}, {row['temper']}"
        about = (row["source"], row["provenance"], "MPa", f"{seen}; no error given")
        what = "tensile-from-yield-elongation: tensile from proof stress and elongation"
        yield line("tensile-from-yield-elongation", what, name, uts, 0.0, *about, ys_mpa=ys, elongation_pct=el)


def rows() -> list[Row]:
    """Return the lines of the measured series."""
    return [row for part in (spacing_rows, hydrogen_rows, tensile_rows) for row in part()]
