"""Speed of a screening: start-up, the demo wheel at 2 mm, and the chain over 400 section tables.

Run: python tests/bench/bench_screen.py
Prints a table; nothing here is asserted. Compare ratios within one run: the machine's own limits stand beside.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from statistics import median

import numpy as np

REPEATS = 5


def timed(action: Callable[[], object], repeats: int = REPEATS) -> float:
    """Return the median wall time of an action [s], after one warm-up."""
    action()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        action()
        times.append(time.perf_counter() - start)
    return median(times)


def command(*words: str) -> Callable[[], object]:
    """Return an action that runs a command in a process of its own."""
    return lambda: subprocess.run(words, check=False, capture_output=True)


def machine() -> list[tuple[str, str]]:
    """Return the machine's limits: memory traffic and one transcendental function a number, one thread."""
    a, b = np.ones(20_000_000), np.empty(20_000_000)
    copy = timed(lambda: np.copyto(b, a), 3)
    exp = timed(lambda: np.exp(a[:2_000_000], out=b[:2_000_000]), 3)
    interpreter = timed(command(sys.executable, "-c", "pass"))
    return [
        ("cores", str(os.cpu_count())),
        ("memory copy, one thread", f"{2 * a.nbytes / copy / 1e9:.1f} GB/s"),
        ("exp of a float64, one thread", f"{exp / 2_000_000 * 1e9:.1f} ns"),
        ("an empty Python process", f"{interpreter:.3f} s"),
    ]


def chain_rows() -> list[tuple[str, str]]:
    """Return zones a second through the whole chain, with and without draws."""
    from castq.files.intake import read_design
    from castq.screening.chain import run_chain
    from castq.screening.screen import batch_table, settings_of, zones_of
    from castq.screening.uncertain import draw_all

    table = Path(__file__).parents[2] / "datasets" / "demo" / "sections.csv"
    case = read_design(table, alloy="AlSi7Mg0.3").case
    rng = np.random.default_rng(1)
    cases = [
        replace(case, name=f"variant {i}", sections=tuple(
            replace(s, wall_mm=s.wall_mm * f, choke_mm=s.choke_mm * f, section_mm=s.section_mm * f)
            for s, f in zip(case.sections, rng.uniform(0.85, 1.15, len(case.sections)), strict=True)
        ))
        for i in range(400)
    ]  # fmt: skip
    zones = sum(len(c.sections) for c in cases)
    rows = []
    for draws in (1, 16, 64, 256):
        drawn = draw_all(draws, 1)
        whole = timed(lambda drawn=drawn: fresh(batch_table, cases, drawn), 3)
        rows.append((
            f"400 section tables, {zones} zones, {draws} draw{'s' if draws > 1 else ''}, to the zone table",
            f"{zones / whole:,.0f} zones/s, {zones * draws / whole:,.0f} zone draws/s ({whole:.3f} s)",
        ))  # fmt: skip
    one = zones_of(case.sections)
    rows.append(("one section table, 256 draws, chain only",
                 f"{timed(lambda: fresh(run_chain, one, settings_of(case), draw_all(256, 1))):.3f} s"))  # fmt: skip
    return rows


def fresh(action: Callable[..., object], *arguments: object) -> object:
    """Run an action with the wall solution not kept from an earlier call."""
    from castq.screening import freezing

    freezing._solved.cache_clear()
    return action(*arguments)


def wheel_rows() -> list[tuple[str, str]]:
    """Return the time of screening the demo wheel from its STL, step by step and as a whole command."""
    from castq.files.demo import write_demo
    from castq.files.intake import read_design
    from castq.screening.screen import screen

    with tempfile.TemporaryDirectory() as folder:
        case_file, _ = write_demo(Path(folder))
        read = timed(lambda: read_design(case_file), 3)
        design = read_design(case_file)
        run = timed(lambda: fresh(screen, design.case), 3)
        whole = timed(command(sys.executable, "-m", "castq", "screen", str(case_file), "--json"), 3)
    return [
        ("demo wheel, 2 mm voxels: read, measure, find zones", f"{read:.2f} s"),
        ("demo wheel: chain, verdict, drivers, 256 draws", f"{run:.2f} s"),
        ("demo wheel: castq screen --json, whole process", f"{whole:.2f} s"),
    ]


def main() -> None:
    """Print the table."""
    helped = timed(command(sys.executable, "-m", "castq", "--help"))
    rows = [*machine(), ("castq --help, whole process", f"{helped:.3f} s"), *chain_rows(), *wheel_rows()]
    width = max(len(name) for name, _ in rows)
    for name, value in rows:
        print(f"{name:<{width}}  {value}")


if __name__ == "__main__":
    main()
