"""Write reports/performance.md: every benchmark with its command, the machine's limits of the same run, and what binds.

Run: python -m tests.bench.write_performance [--only screen,solid,peers,feeding] [--cells 60] [--voxels 10e6] [--long]
Each part is measured by itself and kept in reports/performance.json; the page is written from all parts kept so far, so
that a long run may be made in pieces, each on a quiet machine.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import textwrap
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from castq.files.atomic import write_text
from tests.bench import bench_feeding, bench_peers, bench_screen
from tests.bench.limits import limits

REPORTS = Path(__file__).parents[2] / "reports"
KEPT, PAGE = REPORTS / "performance.json", REPORTS / "performance.md"
Table = list[list[str]]

HEAD = """\
# Speed of castq

Written by `python -m tests.bench.write_performance`. Each part is of one run on one machine, whose limits were measured
just before it; times compare within a part, not across machines. Kernels are compiled before a clock runs, and set-up
stands apart from loops.
"""

TITLES = {
    "screen": ("The screening chain at section depth", "python tests/bench/bench_screen.py"),
    "solid": ("The solid engine", "python -m tests.bench.bench_solid{long}"),
    "peers": ("Beside general-purpose libraries", "python -m tests.bench.bench_peers --cells {cells}"),
    "feeding": ("What follows a solve", "python -m tests.bench.bench_feeding --cells {voxels:.0e}"),
}
WORDS = {
    "screen": "What binds: start-up is loading compiled libraries; the chain is one pass of numpy over zones times "
    "draws, behind a wall solution that equal walls share.",
    "solid": "Errors, where given, are against the plain explicit solution in double precision on the same grid. What "
    "binds stands with each case, from its own updates a second and the limits of one thread.",
    "peers": "The same equations for all: whole cells, two half cells and the film between casting and die. Errors are "
    "against explicit float64 steps on the same grid; the time of freezing is that at which the mean of a cell "
    "is solid. Tetrahedra have their nodes elsewhere, so their row holds a difference of grids too. What binds: "
    "FiPy builds its matrix anew each sweep; scikit-fem solves a sparse system each Newton step; the explicit "
    "ones are held to the step that the casting's cells allow; castq takes long steps of many stages over plain "
    "arrays in single precision.",
    "feeding": "What binds: the pass over the cut-off times takes cells in the order of time, not of memory, so it "
    "walks at random through its arrays; it costs what the metal holds, not what the box does. The block is the worst "
    "case.",
}


def screen_tables(_: argparse.Namespace) -> list[Table]:
    """Return the tables of the screening benchmark."""
    return [[["what", "measured"], *map(list, (*bench_screen.chain_rows(), *bench_screen.wheel_rows()))]]


def solid_tables(asked: argparse.Namespace) -> list[Table]:
    """Return the tables of the solid benchmark: one a case, a row a figure."""
    from tests.bench import bench_solid

    return tables_of(bench_solid.measure(reference=asked.long, fine=asked.long, whole=asked.long))


def peers_tables(asked: argparse.Namespace) -> list[Table]:
    """Return the table beside general-purpose libraries, from a process of its own: their threads are set there."""
    words = [sys.executable, "-m", "tests.bench.bench_peers", "--json", "--cells", str(asked.cells)]
    rows = json.loads(subprocess.run(words, check=True, stdout=subprocess.PIPE, cwd=REPORTS.parent).stdout)
    return [[list(bench_peers.HEAD), *(list(bench_peers.cells_of(row)) for row in rows)]]


def feeding_tables(asked: argparse.Namespace) -> list[Table]:
    """Return one table a case of what follows a solve."""
    return tables_of({case["case"]: case for case in bench_feeding.measure(asked.voxels)})


PARTS: dict[str, Callable[[argparse.Namespace], list[Table]]] = {
    "screen": screen_tables, "solid": solid_tables, "peers": peers_tables, "feeding": feeding_tables,
}  # fmt: skip


def tables_of(cases: Mapping[str, Any]) -> list[Table]:
    """Return one table a case with a row a figure; figures outside any case share the last one."""
    inner = {name: case for name, case in cases.items() if isinstance(case, Mapping)}
    loose = {name: value for name, value in cases.items() if name not in inner}
    tables = [[[name, ""], *([key, shown(value)] for key, value in case.items() if key != "case")]
              for name, case in inner.items()]  # fmt: skip
    return [*tables, *([[["what", ""], *([key, shown(value)] for key, value in loose.items())]] if loose else [])]


def shown(value: object) -> str:
    """Return a figure as text: four digits, whole numbers in full."""
    if isinstance(value, float):
        return f"{value:.4g}"
    return f"{value:,}" if isinstance(value, int) and not isinstance(value, bool) else str(value)


def markdown(table: Sequence[Sequence[str]]) -> str:
    """Return a table as Markdown."""
    head, *rows = ([cell.replace("|", "/") for cell in row] for row in table)
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines) + "\n"


def page(kept: Mapping[str, Any]) -> str:
    """Return the page from the parts kept so far."""
    text = [HEAD]
    for key, (title, _) in TITLES.items():
        if key not in kept:
            continue
        part = kept[key]
        text.append(f"## {title}\n\n    {part['command']}\n")
        text.extend(markdown(table) for table in part["tables"])
        text.append(textwrap.fill(WORDS[key], 120) + "\n")
        text.append(markdown([["machine", part["when"]], *part["machine"]]))
    return "\n".join(text)


def main() -> None:
    """Measure the parts asked for and write the page."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--only", default=",".join(PARTS), help="parts to measure: " + ", ".join(PARTS))
    parser.add_argument("--cells", type=int, default=60, help="cells a side of the casting corner")
    parser.add_argument("--voxels", type=float, default=10e6, help="voxels of what follows a solve")
    parser.add_argument(
        "--long", action="store_true", help="the solid engine at 1 mm and as a whole wheel too, with errors"
    )
    asked = parser.parse_args()
    wanted = asked.only.split(",")
    unknown = [name for name in wanted if name not in PARTS]
    if unknown:
        parser.error(f"there is no part {', '.join(unknown)}; there are {', '.join(PARTS)}")
    kept: dict[str, Any] = json.loads(KEPT.read_text(encoding="utf-8")) if KEPT.exists() else {}
    for name in wanted:
        machine = [list(row) for row in limits().items()]
        kept[name] = {
            "command": TITLES[name][1].format(
                cells=asked.cells, voxels=asked.voxels, long=" --reference --fine --whole" if asked.long else ""
            ),
            "tables": PARTS[name](asked), "machine": machine, "when": time.strftime("%Y-%m-%d"),
        }  # fmt: skip
        write_text(KEPT, json.dumps(kept, indent=1) + "\n", force=True)
        write_text(PAGE, page(kept), force=True)
        print(f"{name}: written to {PAGE}", flush=True)


if __name__ == "__main__":
    main()
