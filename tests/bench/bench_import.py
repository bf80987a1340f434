"""Speed of the import of 100,000 rows of a plant's table into a new log book, and of the same table once more.

Run: python -m tests.bench.bench_import [--rows 100000]
Prints a table; nothing here is asserted. The rows are SYNTHETIC.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from castq.files.logbook import open_book
from castq.files.logbook.import_rows import import_rows
from castq.files.logbook.mapping import read_mapping
from castq.files.melt_demo import write_melt_demo

START = datetime(2020, 1, 1)


def comma(values: np.ndarray, digits: int) -> list[str]:
    """Return numbers as a plant with a decimal comma writes them."""
    return [f"{value:.{digits}f}".replace(".", ",") for value in values.tolist()]


def write_table(path: Path, rows: int, header: str) -> None:
    """Write so many samples under the header of the demo week."""
    chance, columns = np.random.default_rng(1), header.split(";")
    cells = {
        "Time": [f"{START + timedelta(minutes=5 * n):%d.%m.%Y %H:%M}" for n in range(rows)],
        "Row": ["SAMPLE"] * rows, "Alloy": ["7Mg"] * rows, "Place": ["A"] * rows, "Vacuum mbar": ["80"] * rows,
        "Furnace": [f"F{1 + n % 2}" for n in range(rows)], "By": ["ABC"[n % 3] for n in range(rows)],
        "Melt °C": comma(chance.uniform(700, 730, rows), 0),
        "Density air": comma(chance.uniform(2.64, 2.655, rows), 3),
        "Density vacuum": comma(chance.uniform(2.55, 2.63, rows), 3),
        "H2 ml/100g": comma(chance.uniform(0.08, 0.2, rows), 2),
    }  # fmt: skip
    empty = [""] * rows
    lines = (";".join(row) for row in zip(*(cells.get(name, empty) for name in columns), strict=True))
    path.write_text("\n".join([header, *lines, ""]), encoding="cp1252")


def main() -> None:
    """Print the table."""
    words = argparse.ArgumentParser(description="Speed of an import.")
    words.add_argument("--rows", type=int, default=100_000)
    rows = words.parse_args().rows
    with tempfile.TemporaryDirectory() as folder:
        demo = write_melt_demo(Path(folder))
        header = demo.table.read_text(encoding="cp1252").splitlines()[2]
        table, mapping = Path(folder) / "many.csv", read_mapping(demo.mapping)
        write_table(table, rows, header)
        print(f"{os.cpu_count()} cores; {rows:,} rows, {table.stat().st_size / 1e6:.1f} MB")
        with open_book(Path(folder) / "book.sqlite") as book:
            for what in ("import into a new book", "the same table once more"):
                start, cpu = time.perf_counter(), time.process_time()
                result = import_rows(book, table, mapping, entered_by="A", clock=lambda: datetime.now(UTC))
                wall, cpu = time.perf_counter() - start, time.process_time() - cpu
                print(f"{what}: {wall:.1f} s, {cpu:.1f} s of processor; {result.words}")


if __name__ == "__main__":
    main()
