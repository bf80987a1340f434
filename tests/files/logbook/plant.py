"""A small plant's table and mapping, in parts that a test can spoil one by one."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from castq.files.logbook import open_book
from castq.files.logbook.import_rows import ImportResult, import_rows
from castq.files.logbook.mapping import read_mapping

NOW = datetime(2026, 7, 1, 12, 0, tzinfo=UTC)

FILE = {"encoding": '"utf-8"', "separator": '";"', "decimal": '"comma"'}
TIME = {"column": '"Time"', "format": '"%d.%m.%Y %H:%M"', "zone": '"Etc/GMT-1"', "order": '"oldest first"'}
SAMPLE = {
    "furnace": '{ column = "Furnace" }',
    "alloy": '{ constant = "AlSi7Mg0.3" }',
    "melt_temp": '{ column = "Melt", unit = "degC" }',
    "in_air_density": '{ column = "Air", unit = "g/cm3" }',
    "in_vacuum_density": '{ column = "Vacuum", unit = "g/cm3" }',
    "test_pressure": '{ column = "mbar", unit = "mbar" }',
    "hydrogen": '{ column = "H", unit = "ml/100g" }',
    "sampled_by": '{ column = "By" }',
}
ROW = {"Time": "02.03.2026 14:10", "Furnace": "F1", "Melt": "720", "Air": "2,650", "Vacuum": "2,600", "mbar": "80",
       "H": "0,15", "By": "A"}  # fmt: skip
WEIGHTS = {
    "in_air_weight": '{ column = "Air", unit = "g" }',
    "in_air_weight_in_water": '{ column = "Air water", unit = "g" }',
    "in_vacuum_weight": '{ column = "Vacuum", unit = "g" }',
    "in_vacuum_weight_in_water": '{ column = "Vacuum water", unit = "g" }',
    "water_temp": '{ constant = "20", unit = "degC" }',
}


@dataclass
class Plant:
    """Rows of cells by column, the mapping by table and key, and how the table is stored."""

    rows: list[dict[str, str]] = field(default_factory=lambda: [dict(ROW)])
    file: dict[str, str] = field(default_factory=lambda: dict(FILE))
    time: dict[str, str] = field(default_factory=lambda: dict(TIME))
    kinds: dict[str, dict[str, str]] = field(default_factory=lambda: {"sample": dict(SAMPLE)})
    kind: dict[str, str] = field(default_factory=lambda: {"constant": '"sample"'})
    raw: bytes | None = None
    extra: str = ""
    name: str = "plant.csv"
    encoding: str = "utf-8"

    def mapping_text(self) -> str:
        parts = {"file": self.file, "time": self.time, "kind": self.kind, **self.kinds}
        lines = []
        for name, keys in parts.items():
            lines += [f"[{name}]", *(f"{key} = {value}" for key, value in keys.items())]
        return "\n".join([*lines, self.extra, ""])

    def table_bytes(self) -> bytes:
        if self.raw is not None:
            return self.raw
        columns = list(self.rows[0])
        lines = [";".join(columns), *(";".join(row.get(name, "") for name in columns) for row in self.rows)]
        return ("\n".join(lines) + "\n").encode(self.encoding)

    def write(self, folder: Path) -> tuple[Path, Path]:
        table, mapping = folder / self.name, folder / "map.toml"
        if not table.exists():
            table.write_bytes(self.table_bytes())
        mapping.write_text(self.mapping_text(), encoding="utf-8")
        return table, mapping

    def imported(self, folder: Path, *, accept_good: bool = False, check: bool = False) -> ImportResult:
        table, mapping = self.write(folder)
        with open_book(folder / "book.sqlite") as book:
            return import_rows(book, table, read_mapping(mapping), entered_by="A", accept_good=accept_good,
                               check=check, clock=lambda: NOW)  # fmt: skip


def cells(**changed: str) -> Plant:
    """Return a plant whose one row is changed."""
    return Plant(rows=[ROW | changed])


def mapped(part: str, key: str, value: str | None) -> Plant:
    """Return a plant whose mapping is changed at one key; None takes the key away."""
    plant = Plant()
    table = {"file": plant.file, "time": plant.time, "kind": plant.kind, "sample": plant.kinds["sample"]}[part]
    if value is None:
        del table[key]
    else:
        table[key] = value
    return plant


def weighed(**changed: str) -> Plant:
    """Return a plant that weighs its samples."""
    fields = {name: one for name, one in SAMPLE.items() if not name.endswith("density")} | WEIGHTS
    row = ROW | {"Air": "80,00", "Air water": "49,80", "Vacuum": "80,00", "Vacuum water": "49,20"} | changed
    return Plant(rows=[row], kinds={"sample": fields})


def treated(**changed: str) -> Plant:
    """Return a plant that writes down treatments."""
    fields = {"furnace": '{ column = "Furnace" }', "duration": '{ column = "Minutes", unit = "min" }',
              "gas": '{ constant = "argon" }'}  # fmt: skip
    row = {"Time": ROW["Time"], "Furnace": "F1", "Minutes": "12"} | changed
    return Plant(rows=[row], kinds={"treatment": fields}, kind={"constant": '"treatment"'})


def aired(**changed: str) -> Plant:
    """Return a plant that writes down its air."""
    fields = {"air_temp": '{ column = "Air", unit = "degC" }', "humidity": '{ column = "RH", unit = "%" }',
              "dew_point": '{ column = "Dew", unit = "degC" }'}  # fmt: skip
    row = {"Time": ROW["Time"], "Air": "25,0", "RH": "60", "Dew": ""} | changed
    return Plant(rows=[row], kinds={"air": fields}, kind={"constant": '"air"'})


def added(**changed: str) -> Plant:
    """Return a plant that writes down additions."""
    fields = {"furnace": '{ column = "Furnace" }', "amount": '{ column = "kg", unit = "kg" }',
              "added": '{ column = "What", values = { Sr = "strontium", TiB = "refiner", Al = "metal" } }',
              "reaches": '{ column = "ppm", unit = "ppm" }'}  # fmt: skip
    row = {"Time": ROW["Time"], "Furnace": "F1", "What": "Sr", "kg": "1,5", "ppm": "160"} | changed
    return Plant(rows=[row], kinds={"addition": fields}, kind={"constant": '"addition"'})
