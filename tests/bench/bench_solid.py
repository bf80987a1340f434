"""Speed of the solid engine on P1, one tenth of an invented 18-inch wheel between two mirror planes, die of 40 mm.

Run: python -m tests.bench.bench_solid [--reference] [--fine] [--whole]
Prints a table; nothing here is asserted. `--reference` adds the error in time against the plain explicit solution in
double precision (minutes), `--fine` P1 at 1 mm, `--whole` the whole wheel at 2 mm. Compare ratios within one run: the
machine's own limits stand beside. On a busy machine trust the processor time.
"""

from __future__ import annotations

import argparse
import os
import resource
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import Any
from unittest import mock

import numpy as np

from castq import materials
from castq.geometry.axis import find_axis
from castq.geometry.voxels import voxelise
from castq.geometry.wheel import build_wheel, demo_a
from castq.thermal import solid_march
from castq.thermal.die_growth import sector_of
from castq.thermal.solid_bodies import Casting, Die
from castq.thermal.solid_build import build
from castq.thermal.solid_notes import Notes
from castq.thermal.solid_problem import March, Pace, Problem
from castq.thermal.solid_surface import Interface
from tests.bench import limits as machine
from tests.bench.limits import bandwidth_gb_s, gflop_s, threads

REPEATS = 3
# An invented five-spoke wheel of 10 kg, as narrow as its sector of 48,000 and 430,000 cells at 2 mm asks for.
P1_WHEEL = replace(
    demo_a(), name="P1", rim_width_mm=120.0, well_width_mm=20.0, well_offset_mm=5.0, dish_mm=4.0, hub_offset_mm=15.0,
    hub_height_mm=44.0,
)  # fmt: skip
PACES = {"default pace": Pace(), "quick pace": Pace(2.0, 0.05, 0.05, interface_share=2.0)}
# At 1 mm the interface asks for shorter steps than the casting does: as long as at 2 mm.
LONGER = Pace(interface_share=0.9)
# Bytes a cell and stage, as if each came from memory anew, and operations: what the loops of `solid_kernel` read,
# write and do. Five faces of one byte, the steps to the neighbours, and fields of four bytes.
BYTES = {"casting": 5 + 1 + 9 * 4, "die": 5 + 1 + 5 * 4}
FLOPS = {"casting": 18 + 8 + 3 * 14 + 4, "die": 18 + 8}


@dataclass
class Clock:
    """Processor time [s] and stages of each part of a march."""

    seconds: dict[str, float] = field(default_factory=dict)
    stages: dict[str, int] = field(default_factory=dict)

    def watch(self, kind: type, method: str, name: str) -> Any:
        """Return a patch under which a method's time is added up."""
        plain = getattr(kind, method)

        def timed(*given: Any) -> Any:
            start = time.thread_time()
            found = plain(*given)
            self.seconds[name] = self.seconds.get(name, 0.0) + time.thread_time() - start
            if name in BYTES:
                self.stages[name] = self.stages.get(name, 0) + found
            return found

        return mock.patch.object(kind, method, timed)

    @contextmanager
    def watching(self) -> Iterator[None]:
        """Add up the time of each part while it lasts."""
        with (self.watch(Casting, "advance", "casting"), self.watch(Die, "advance", "die"),
              self.watch(Notes, "take", "notes"), self.watch(Interface, "fluxes", "interface")):  # fmt: skip
            yield


def problem_of(voxel_mm: float, *, whole: bool) -> tuple[Problem, float, float]:
    """Return the problem, and the time to read the wheel into voxels and to set it up, compiled before [s]."""
    mesh = build_wheel(P1_WHEEL)
    axis = find_axis(mesh)
    mesh = mesh.moved(axis.rotation, axis.centre_mm)
    start = time.process_time()
    grid = voxelise(mesh, voxel_mm)
    read = time.process_time() - start
    given: dict[str, Any] = {
        "surface": mesh, "alloy": materials.alloy("A356"), "die": materials.die_material("H13"), "melt_temp_c": 700.0,
        "die_temp_c": 350.0, "contact_w_m2k": 1500.0, "gap_w_m2k": 450.0, "die_wall_mm": 40.0,
        "sector": None if whole else sector_of(axis),
    }  # fmt: skip
    if not whole:
        build(grid, **given)
    start = time.process_time()
    problem = build(grid, **given).problem
    return problem, read, time.process_time() - start


def case_of(name: str, problem: Problem, pace: Pace, limits: tuple[float, float], repeats: int = REPEATS) -> dict[
    str, Any
]:  # fmt: skip
    """Return the figures of one march."""
    solid_march.march(problem, pace, most_steps=3)
    walls, works, clock, result = [], [], Clock(), None
    for _ in range(repeats):
        clock = Clock()
        with clock.watching():
            wall, work = time.perf_counter(), time.process_time()
            result = solid_march.march(problem, pace)
            walls.append(time.perf_counter() - wall)
            works.append(time.process_time() - work)
    assert result is not None
    rows: dict[str, Any] = {
        "case": name,
        "box [cells]": " x ".join(str(count) for count in problem.casting.shape),
        "cells of casting, of die": f"{problem.casting.active.size:,}, {problem.die.active.size:,}",
        "frozen after [s]": float(np.nanmax(result.times_s)),
        "long steps": result.steps,
        f"loop, wall, least of {repeats} [s]": min(walls),
        f"loop, processor, least of {repeats} [s]": min(works),
        "heat balance [-]": result.residual,
        "false re-heat, worst cell and step [K]": result.reheat_k,
    }
    rows.update(shares(problem, clock, limits))
    return rows


def shares(problem: Problem, clock: Clock, limits: tuple[float, float]) -> dict[str, Any]:
    """Return for each body the updates a second and their share of one thread's limits, and where the time goes."""
    rows: dict[str, Any] = {}
    for body, region in (("casting", problem.casting), ("die", problem.die)):
        updates = clock.stages[body] * region.active.size
        rate = updates / clock.seconds[body]
        rows[f"{body}, stages; updates [million]"] = f"{clock.stages[body]:,}; {updates / 1e6:,.0f}"
        rows[f"{body}, million updates a second, one thread"] = rate / 1e6
        rows[f"{body}, bytes an update; share of memory traffic [%]"] = (
            f"{BYTES[body]}; {100.0 * rate * BYTES[body] / 1e9 / limits[0]:.0f}"
        )
        rows[f"{body}, operations an update; share of peak [%]"] = (
            f"{FLOPS[body]}; {100.0 * rate * FLOPS[body] / 1e9 / limits[1]:.0f}"
        )
    rows["processor time of casting, die, notes, interface [s]"] = ", ".join(
        f"{clock.seconds[part]:.2f}" for part in ("casting", "die", "notes", "interface")
    )
    traffic = max(clock.stages[b] * getattr(problem, b).active.size * BYTES[b] / clock.seconds[b] for b in BYTES)
    rows["what binds"] = (
        "the processor's own loads and operations: stages follow each other plane by plane in its cache, and would "
        "else need more memory traffic than there is" if traffic > 0.9e9 * limits[0] else
        "operations and loads from the cache; memory traffic is not at its limit"
    )  # fmt: skip
    return rows


def thread_limits() -> tuple[float, float]:
    """Return memory traffic [GB/s] and arithmetic [Gflop/s] of one thread, by its processor time."""
    a, b, c = (np.ones(machine.LONG, np.float32) for _ in range(3))
    held = np.ones(machine.CHAINS, np.float32)

    def least(work: Callable[[], object]) -> float:
        """Return the least processor time of some repeats [s]."""
        times = []
        for _ in range(2 * REPEATS):
            start = time.thread_time()
            work()
            times.append(time.thread_time() - start)
        return min(times)

    traffic = 3 * a.nbytes / least(lambda: machine._triad(a, b, c)) / 1e9
    return traffic, 2.0 * machine.CHAINS * machine.TURNS / least(lambda: machine._chains(held, machine.TURNS)) / 1e9


def error_of(result: March, reference: March) -> str:
    """Return how far local solidification times are from the reference, in words."""
    long, exact = (march.times_s[-1].astype(float) - march.times_s[0] for march in (result, reference))
    off = 100.0 * np.abs(long / exact - 1.0)
    return f"{off.mean():.3f} mean, {np.percentile(off, 95):.3f} p95, {off.max():.1f} worst"


def measure(*, reference: bool = False, fine: bool = False, whole: bool = False) -> dict[str, dict[str, Any]]:
    """Return the figures of each case.

    Parameters
    ----------
    reference : bool
        Whether to hold P1 at 2 mm against the explicit solution in double precision.
    fine, whole : bool
        Whether to measure P1 at 1 mm, and the whole wheel at 2 mm.

    Returns
    -------
    dict of str to dict
        Figures by case.
    """
    count = threads()
    limits = thread_limits()
    cases: dict[str, dict[str, Any]] = {"machine": {
        "memory traffic, float32 triad, 1 thread, by processor time [GB/s]": limits[0],
        f"memory traffic, {count} threads, by the clock [GB/s]": bandwidth_gb_s(count),
        "multiply and add, float32, 1 thread, by processor time [Gflop/s]": limits[1],
        f"multiply and add, {count} threads, by the clock [Gflop/s]": gflop_s(count),
        "load, processes that want to run": os.getloadavg()[0],
    }}  # fmt: skip
    problem, read, built = problem_of(2.0, whole=False)
    exact = solid_march.march(problem, Pace(explicit=True, single=False)) if reference else None
    for name, pace in PACES.items():
        case = f"P1, 2 mm, {name}"
        cases[case] = case_of(case, problem, pace, limits)
        if exact is not None:
            cases[case]["error of local solidification time [%]"] = error_of(solid_march.march(problem, pace), exact)
    cases["P1, 2 mm, default pace"] |= {"voxels, processor [s]": read, "set-up, processor [s]": built}
    del problem, exact
    for wanted, case, voxel_mm in ((fine, "P1, 1 mm, default pace", 1.0), (whole, "whole wheel, 2 mm", 2.0)):
        if wanted:
            problem, read, built = problem_of(voxel_mm, whole=voxel_mm == 2.0)
            cases[case] = case_of(case, problem, Pace(), limits, 1)
            cases[case] |= {
                "voxels, processor [s]": read,
                "set-up, processor [s]": built,
                "peak memory [GB]": peak_gb(),
            }
            if voxel_mm == 1.0:
                longer = cases[f"{case.replace('default', 'longer')}"] = case_of(case, problem, LONGER, limits, 1)
                pair = (solid_march.march(problem, LONGER), solid_march.march(problem, Pace()))
                longer["difference from the default pace [%]"] = error_of(*pair)
            del problem
    cases["machine"]["peak memory of all [GB]"] = peak_gb()
    return cases


def peak_gb() -> float:
    """Return the most memory this process has held [GB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    for flag in ("reference", "fine", "whole"):
        parser.add_argument(f"--{flag}", action="store_true")
    for name, case in measure(**vars(parser.parse_args())).items():
        print(name)
        for key, value in case.items():
            if key != "case":
                print(f"  {key:<68}{f'{value:.4g}' if isinstance(value, float) else value}")


if __name__ == "__main__":
    main()
