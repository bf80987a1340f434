"""Speed beside general-purpose libraries: a casting corner freezing in a die, 60 s, the same equations for all.

Run: python -m tests.bench.bench_peers [--cells 60] [--only castq,skfem,tets,scipy,fipy]
The cube is 120 mm, so 60 cells a side are of 2 mm; the default of 30 ends within two minutes. Errors are against
explicit float64 steps on the same grid. Nothing here is asserted. Ratios are to castq's fastest loop of the same run
whose errors are no larger, by the clock and by the processor.
"""

from __future__ import annotations

import os

# One thread for level-1 algebra, before numpy is loaded: a second one only waits, and the libraries lose by it.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import json
import warnings
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from castq.thermal.solid_problem import Pace
from tests.thermal.corner import Corner, Run, off, solve_castq, solve_explicit, solve_rk23
from tests.thermal.corner_peers import solve_fipy, solve_skfem_faces, solve_skfem_tets

COARSE = Pace(longest_s=2.0, shortest_s=0.05, growth=0.05)
QUICK = Pace(longest_s=3.0, shortest_s=0.1, growth=0.07, interface_share=3.0)
# At each key the runs it stands for; the explicit reference is always made.
RUNS: dict[str, tuple[Callable[[Corner], Run], ...]] = {
    "castq": (
        lambda corner: solve_castq(corner, None, "castq, usual steps", repeats=5),
        lambda corner: solve_castq(corner, COARSE, "castq, long steps", repeats=5),
        lambda corner: solve_castq(corner, QUICK, "castq, quick steps", repeats=5),
    ),
    "skfem": (solve_skfem_faces,),
    "tets": (solve_skfem_tets,),
    "scipy": (lambda corner: solve_rk23(corner, 1e-4), solve_rk23),
    "fipy": (lambda corner: solve_fipy(corner, 2.0), solve_fipy),
}
HEAD = (
    "solver", "loop s", "CPU s", "set-up s", "rms K", "max K", "error of freezing time", "heat lost", "loop / castq",
    "CPU / castq", "done by",
)  # fmt: skip


def figures(run: Run, reference: Run) -> dict[str, Any]:
    """Return times and errors of a run."""
    rms_k, worst_k, late = off(run, reference)
    return {
        "solver": run.name, "loop_s": run.loop_s, "cpu_s": run.cpu_s, "setup_s": run.setup_s, "rms_k": rms_k,
        "worst_k": worst_k, "late": late, "residual": run.residual, "words": run.words,
    }  # fmt: skip


def measure(cells: int = 30, only: Sequence[str] = tuple(RUNS)) -> Iterator[dict[str, Any]]:
    """Yield one row a solver: the explicit reference, castq, then the others."""
    warnings.simplefilter("ignore", DeprecationWarning)
    corner = Corner(cells)
    # Compiled, or loaded from the cache, before the clock runs.
    solve_castq(Corner(6))
    reference = solve_explicit(corner)
    own: list[dict[str, Any]] = []
    yield figures(reference, reference)
    for key in RUNS:
        for solve in RUNS[key] if key in only else ():
            row = figures(solve(corner), reference)
            if key == "castq":
                own.append(row)
            equal = [other for other in own if other["rms_k"] <= row["rms_k"] and other["late"] <= row["late"]]
            for way in ("loop_s", "cpu_s") if equal else ():
                row[f"{way}_ratio"] = row[way] / min(other[way] for other in equal)
            yield row


def cells_of(row: dict[str, Any]) -> tuple[str, ...]:
    """Return a row as text, in the order of `HEAD`."""
    ratios = (f"{row[key]:.3g}" if key in row else "-" for key in ("loop_s_ratio", "cpu_s_ratio"))
    return (
        row["solver"], f"{row['loop_s']:.3g}", f"{row['cpu_s']:.3g}", f"{row['setup_s']:.2g}", f"{row['rms_k']:.3f}",
        f"{row['worst_k']:.2f}", f"{100 * row['late']:.2f} %", f"{row['residual']:.0e}", *ratios, row["words"],
    )  # fmt: skip


def main() -> None:
    """Print the table, a row as soon as it is known."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cells", type=int, default=30, help="cells a side, a multiple of 3")
    parser.add_argument("--only", default=",".join(RUNS), help="which solvers, " + ", ".join(RUNS))
    parser.add_argument("--json", action="store_true", help="one JSON list instead")
    asked = parser.parse_args()
    if asked.cells % 3 or asked.cells < 6:
        parser.error("--cells: a multiple of 3, at least 6")
    rows = measure(asked.cells, asked.only.split(","))
    if asked.json:
        print(json.dumps(list(rows)))
        return
    widths = (47, *(max(len(head), 8) for head in HEAD[1:]))
    for row in _lines(rows):
        print("  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)).rstrip(), flush=True)


def _lines(rows: Iterator[dict[str, Any]]) -> Iterator[tuple[str, ...]]:
    """Yield the head and each row as text."""
    yield HEAD
    yield from map(cells_of, rows)


if __name__ == "__main__":
    main()
