"""Write the validation table: `python -m tests.validation [--out reports/validation.md]`."""

from __future__ import annotations

import argparse
import time
from pathlib import Path

from castq.files.atomic import write_text
from tests.validation import measured, relations, shapes, solids, walls
from tests.validation.report import report

OUT = Path(__file__).parents[2] / "reports" / "validation.md"


def main() -> None:
    """Work out every line and write the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.validation", description="Write the validation table.")
    parser.add_argument("--out", type=Path, default=OUT, help="file to write (default reports/validation.md)")
    out = parser.parse_args().out
    start = time.perf_counter()
    rows = [*relations.relation_rows(), *measured.rows(), *walls.rows(), *solids.rows(), *shapes.rows()]
    write_text(out, report(rows), force=True)
    missed = sum(not row.met for row in rows)
    print(f"{out}: {len(rows)} rows, {missed} missed, {time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
