"""An invented week of melts in a plant's own habits, and the mapping that reads it (all SYNTHETIC)."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from castq.files.atomic import write_bytes, write_text
from castq.melt.defaults import RATE_PER_MIN, air_level
from castq.melt.types import Air
from castq.physics.degassing import hydrogen_after, practical_floor
from castq.physics.density_index import density_index_from_hydrogen

TABLE, MAPPING = "melt_week.csv", "melt_week_map.toml"
START = datetime(2026, 6, 4, 6, 0)
DRIFT_FROM = datetime(2026, 6, 9, 14, 10)
HUMID_DAY = datetime(2026, 6, 6).date()
DAYS = 7
_BAD_SAMPLE_FROM = datetime(2026, 6, 10, 10, 0)
_EVERY = timedelta(minutes=150)
# What a worn rotor leaves of the rate.
_WORN = 0.35
_COLUMNS = ("Time", "Furnace", "Row", "Alloy", "Melt °C", "Place", "Density air", "Density vacuum", "Vacuum mbar",
            "H2 ml/100g", "Minutes", "Rotor", "Gas", "Gas l/min", "rpm", "Melt kg", "Added", "Amount kg", "Reaches ppm",
            "Air °C", "Humidity %", "By", "Remark")  # fmt: skip
_HEAD = """\
# SYNTHETIC: an invented week of melts, no real plant; made by castq from its own relations and chance.
# Furnace F2 drifts up from Tuesday 9 June 14:10 (a worn rotor), 6 June is humid, one sample of F1 holds oxides.
"""
_MAPPING = """\
# SYNTHETIC: how castq reads melt_week.csv, the table of an invented plant.
[file]
encoding = "cp1252"
separator = ";"
decimal = "comma"
blank = ["-"]

[time]
column = "Time"
format = "%d.%m.%Y %H:%M"
zone = "Etc/GMT-1"          # one hour ahead of UTC, all year
order = "oldest first"

[kind]
column = "Row"
values = { SAMPLE = "sample", DEGAS = "treatment", ADD = "addition", AIR = "air" }

[sample]
furnace = { column = "Furnace", values = { F1 = "furnace 1", F2 = "furnace 2" } }
alloy = { column = "Alloy", values = { "7Mg" = "AlSi7Mg0.3" } }
melt_temp = { column = "Melt °C", unit = "degC" }
after = { column = "Place", values = { B = "before treatment", A = "after treatment" } }
in_air_density = { column = "Density air", unit = "g/cm3" }
in_vacuum_density = { column = "Density vacuum", unit = "g/cm3" }
test_pressure = { column = "Vacuum mbar", unit = "mbar" }
hydrogen = { column = "H2 ml/100g", unit = "ml/100g" }
sampled_by = { column = "By" }
note = { column = "Remark" }

[treatment]
furnace = { column = "Furnace", values = { F1 = "furnace 1", F2 = "furnace 2" } }
duration = { column = "Minutes", unit = "min" }
rotor = { column = "Rotor" }
gas = { column = "Gas", values = { Ar = "argon", N2 = "nitrogen" } }
gas_flow = { column = "Gas l/min", unit = "l/min" }
speed = { column = "rpm", unit = "1/min" }
melt_mass = { column = "Melt kg", unit = "kg" }

[addition]
furnace = { column = "Furnace", values = { F1 = "furnace 1", F2 = "furnace 2" } }
added = { column = "Added", values = { Sr = "strontium", TiB = "refiner" } }
amount = { column = "Amount kg", unit = "kg" }
reaches = { column = "Reaches ppm", unit = "ppm" }

[air]
air_temp = { column = "Air °C", unit = "degC" }
humidity = { column = "Humidity %", unit = "%" }
"""


@dataclass(frozen=True, slots=True)
class MeltDemo:
    """The two files of the demo."""

    table: Path
    mapping: Path


def write_melt_demo(folder: Path, *, seed: int = 4, force: bool = False) -> MeltDemo:
    """Write an invented week of melts and its mapping.

    Parameters
    ----------
    folder : Path
        Where; it must exist.
    seed : int
        Of the chance in it [-].
    force : bool
        True to replace files that are there.

    Returns
    -------
    MeltDemo
        The files.
    """
    demo = MeltDemo(folder / TABLE, folder / MAPPING)
    write_bytes(demo.table, melt_week(seed).encode("cp1252"), force=force)
    write_text(demo.mapping, _MAPPING, force=force)
    return demo


def melt_week(seed: int = 4) -> str:
    """Return the table of the invented week as text.

    Parameters
    ----------
    seed : int
        Of the chance in it [-].
    """
    week = _Week(np.random.default_rng(seed))
    for number in range(3 * DAYS):
        week.air(START + timedelta(hours=8 * number, minutes=5))
    for furnace, late in (("F1", 40), ("F2", -12)):
        start, number = START + timedelta(minutes=25 + late), 0
        while start < START + timedelta(days=DAYS, minutes=-60):
            week.melt(furnace, start, number)
            start, number = start + _EVERY, number + 1
    rows = [cells for _, cells in sorted(week.rows, key=lambda row: row[0])]
    lines = [";".join(_COLUMNS), *(";".join(cells.get(name, "") for name in _COLUMNS) for cells in rows)]
    return _HEAD + "\n".join(lines) + "\n"


def _comma(value: float, digits: int) -> str:
    return f"{value:.{digits}f}".replace(".", ",")


def _operator(at: datetime) -> str:
    return "ABC"[(at.hour - 6) % 24 // 8]


@dataclass(slots=True)
class _Week:
    """Rows of the week, each with its time."""

    chance: np.random.Generator
    rows: list[tuple[datetime, dict[str, str]]] = field(default_factory=list)

    def _add(self, at: datetime, kind: str, furnace: str, **cells: str) -> None:
        named = {name.replace("_", " "): cell for name, cell in cells.items()}
        fixed = {"Time": f"{at:%d.%m.%Y %H:%M}", "Row": kind, "Furnace": furnace, "By": _operator(at)}
        self.rows.append((at, fixed | named))

    def _damp(self, at: datetime) -> Air:
        day = 23.0 + 4.0 * np.sin(2.0 * np.pi * (at.hour - 9) / 24.0)
        return Air(28.0, 88.0) if at.date() == HUMID_DAY else Air(round(day, 1), round(95.0 - 1.8 * day))

    def air(self, at: datetime) -> None:
        """Add a reading of the air."""
        air = self._damp(at)
        cells = {"Air °C": _comma(air.air_temp_c, 1), "Humidity %": f"{air.relative_humidity_pct:.0f}"}
        self._add(at, "AIR", "", **cells)

    def melt(self, furnace: str, start: datetime, number: int) -> None:
        """Add one melt: strontium, a sample, a treatment, one or two samples."""
        temp = round(722.0 + 5.0 * self.chance.standard_normal())
        before = 0.21 * np.exp(0.08 * self.chance.standard_normal())
        minutes = 12 if number % 5 else 14
        worn = _WORN if furnace == "F2" and start >= DRIFT_FROM - timedelta(minutes=60) else 1.0
        rate = RATE_PER_MIN * worn * np.exp(0.12 * self.chance.standard_normal())
        floor = practical_floor(air_level(temp, self._damp(start)))
        after = float(hydrogen_after(before, floor, rate, minutes))
        if number % 2 == 0:
            self._add(start, "ADD", furnace, Added="Sr", Amount_kg=_comma(1.5, 1), Reaches_ppm="160")
        if number % 6 == 3:
            self._add(start, "ADD", furnace, Added="TiB", Amount_kg=_comma(0.8, 1))
        self._sample(furnace, start + timedelta(minutes=5), temp, before, "B", reading=number % 8 == 0)
        self._add(
            start + timedelta(minutes=12), "DEGAS", furnace, Minutes=str(minutes), Rotor=f"rotor {furnace[1]}",
            Gas="Ar", rpm="450", Melt_kg=str(10 * round(75 + 2 * self.chance.standard_normal())), **{"Gas l/min": "18"},
        )  # fmt: skip
        for repeat in range(2 if number % 4 == 0 else 1):
            at = start + timedelta(minutes=15 + minutes + 3 * repeat)
            oxides = furnace == "F1" and _BAD_SAMPLE_FROM <= at < _BAD_SAMPLE_FROM + _EVERY and repeat == 0
            self._sample(furnace, at, temp - 4, after, "A", reading=number % 4 == 0 or oxides, oxides=oxides)

    def _sample(
        self, furnace: str, at: datetime, temp: float, hydrogen: float, place: str, *, reading: bool,
        oxides: bool = False,
    ) -> None:  # fmt: skip
        index = float(density_index_from_hydrogen(hydrogen)) * np.exp(0.22 * self.chance.standard_normal())
        index = 17.0 if oxides else max(0.1, index + 0.12 * self.chance.standard_normal())
        in_air = 2.656 - 0.05 * hydrogen + 0.002 * self.chance.standard_normal()
        shown = hydrogen + np.hypot(0.01, 0.05 * hydrogen) * self.chance.standard_normal()
        cells = {
            "Melt °C": f"{temp:.0f}", "Density air": _comma(in_air, 3), "Vacuum mbar": "80",
            "Density vacuum": _comma(in_air * (1.0 - index / 100.0), 3),
            "H2 ml/100g": _comma(shown, 2) if reading else "-", "Remark": "dross on the spoon" if oxides else "",
        }  # fmt: skip
        self._add(at, "SAMPLE", furnace, Alloy="7Mg", Place=place, **cells)
