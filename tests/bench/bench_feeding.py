"""Speed of what follows a solve: sections, zones, pools, islands and ways, on as many cells as asked.

Run: python -m tests.bench.bench_feeding [--cells 10e6]
Two cases. The demo wheel in a box of that many voxels, of which the metal is about a tenth, with a synthetic field:
each place closes after a time that goes with the square of its wall and falls away from the hub, with waves in it. And
a block that is metal throughout: the worst there can be. Nothing here is asserted.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from castq.feeding.flood import flood
from castq.feeding.islands import find_islands
from castq.feeding.paths import feeding_paths
from castq.geometry.roles import CODE
from castq.geometry.thickness import local_section
from castq.geometry.voxels import voxelise
from castq.geometry.wheel import build_wheel, demo_a
from castq.geometry.zones import find_zones

REPEATS = 3
VOXELISE = "voxelise"
Field = NDArray[np.float32]


class Laps:
    """Least time of each step over some repeats [s]."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}

    def run(self, name: str, action: Callable[..., Any], *given: object) -> Any:
        start = time.perf_counter()
        found = action(*given)
        taken = time.perf_counter() - start
        self.seconds[name] = min(taken, self.seconds.get(name, np.inf))
        return found


def _fed(laps: Laps, cutoff: Field, gate: NDArray[np.bool_], spacing_mm: float, fraction: Field, wall: Field) -> None:
    """Run the feeding engine once."""
    flooded = laps.run("pools", lambda: flood(cutoff, gate, spacing_mm=spacing_mm, fraction=fraction))
    liquidus = 0.1 * cutoff
    laps.run("islands", lambda: find_islands(flooded, shrinkage_pct=5.3, cutoff_fs=0.7, liquidus_s=liquidus))
    laps.run("ways to the feeder", lambda: feeding_paths(flooded, wall))


def _waves(shape: tuple[int, ...]) -> Field:
    """Return smooth waves around 1, some thirty cells long."""
    x, y, z = (np.sin(np.arange(count, dtype=np.float32) / 5.0) for count in shape)
    return (1.0 + 0.1 * x[:, None, None] * y[:, None] * z).astype(np.float32)


def wheel(cells: float) -> dict[str, Any]:
    """Return the times of the demo wheel's steps in a box of about so many voxels."""
    mesh = build_wheel(demo_a(), 10.0)
    low, high = mesh.bounds
    spacing_mm = float(np.prod(high - low) / cells) ** (1.0 / 3.0)
    laps = Laps()
    for _ in range(REPEATS):
        grid = laps.run(VOXELISE, voxelise, mesh, spacing_mm)
        section = laps.run("local section and wall", local_section, mesh, grid)
        codes = laps.run("zones", find_zones, grid).codes
        metal = codes > 0
        x, y, _ = grid.centres_mm
        fall = np.exp(-np.hypot(x[:, None], y) / 400.0).astype(np.float32)[:, :, None]
        cutoff = np.where(metal, 0.2 * np.maximum(section.wall_mm, 1.0) ** 2 * fall * _waves(metal.shape), np.nan)
        gate = codes == CODE["hub"]
        _fed(laps, cutoff.astype(np.float32), gate, spacing_mm, grid.fraction, section.wall_mm)
    return _result(f"demo wheel, voxels of {spacing_mm:.2f} mm", metal.size, int(metal.sum()), laps)


def block(cells: float) -> dict[str, Any]:
    """Return the times of the feeding engine on a block that is metal throughout."""
    side = round(cells ** (1.0 / 3.0))
    shape, laps = (side,) * 3, Laps()
    depth = np.minimum(np.arange(side), np.arange(side)[::-1]).astype(np.float32) + 1.0
    wall = np.minimum(np.minimum(depth[:, None, None], depth[:, None]), depth)
    cutoff = (wall**2 * _waves(shape)).astype(np.float32)
    gate = np.zeros(shape, dtype=bool)
    gate[side // 2, side // 2, -1] = True
    for _ in range(REPEATS):
        _fed(laps, cutoff, gate, 1.0, np.ones(shape, np.float32), np.minimum(wall, 20.0))
    return _result("block of metal throughout", cutoff.size, cutoff.size, laps)


def _result(name: str, voxels: int, metal: int, laps: Laps) -> dict[str, Any]:
    """Return a case with the time of each step and of all."""
    steps = {step: seconds for step, seconds in laps.seconds.items() if step != VOXELISE}
    return {"case": name, "voxels": voxels, "metal": metal, **laps.seconds, "all but voxelise": sum(steps.values())}


def measure(cells: float = 10e6) -> list[dict[str, Any]]:
    """Return both cases, times in seconds."""
    return [wheel(cells), block(cells)]


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cells", type=float, default=1e6, help="voxels of the box")
    for case in measure(parser.parse_args().cells):
        print(f"{case['case']}: {case['voxels']:,} voxels, {case['metal']:,} of metal")
        for step, seconds in list(case.items())[3:]:
            print(f"  {step:<24}{seconds:8.3f} s")


if __name__ == "__main__":
    main()
