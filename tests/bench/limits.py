"""The machine's limits, measured where and when they are called: memory traffic and arithmetic, one thread and all."""

from __future__ import annotations

import os
import platform
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from importlib.metadata import version
from pathlib import Path

import numpy as np
from numba import njit

# Longer than any cache, in numbers; chains that keep the arithmetic units busy, and turns of them.
LONG = 16_000_000
CHAINS, TURNS = 64, 4_000_000
REPEATS = 5


@njit(cache=True, nogil=True, fastmath=True)
def _triad(a, b, c):  # type: ignore[no-untyped-def]  # pragma: no cover
    for i in range(a.size):
        a[i] = b[i] + np.float32(0.5) * c[i]


@njit(cache=True, nogil=True, fastmath=True)
def _chains(x, turns):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Multiply and add in chains that do not wait for each other."""
    scale, shift = np.float32(0.999), np.float32(0.001)
    held = x.copy()
    for _ in range(turns):
        for i in range(CHAINS):
            held[i] = held[i] * scale + shift
    x[:] = held


def threads() -> int:
    """Return how many processor cores this process may use [-]."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _fastest(work: Callable[[int], None], count: int) -> float:
    """Return the least time in which a number of threads do the work, one share each [s]."""
    with ThreadPoolExecutor(count) as pool:
        list(pool.map(work, range(count)))
        times = []
        for _ in range(REPEATS):
            start = time.perf_counter()
            list(pool.map(work, range(count)))
            times.append(time.perf_counter() - start)
    return min(times)


def bandwidth_gb_s(count: int) -> float:
    """Return memory traffic of a = b + s c in float32, counted as three numbers, over a number of threads [GB/s]."""
    a, b, c = (np.ones(LONG, np.float32) for _ in range(3))
    parts = [slice(n * LONG // count, (n + 1) * LONG // count) for n in range(count)]
    seconds = _fastest(lambda n: _triad(a[parts[n]], b[parts[n]], c[parts[n]]), count)
    return 3 * a.nbytes / seconds / 1e9


def gflop_s(count: int) -> float:
    """Return multiplications and additions of float32 a second, over a number of threads [Gflop/s]."""
    seconds = _fastest(lambda n: _chains(np.full(CHAINS, 1.0 + n, np.float32), TURNS), count)
    return 2.0 * CHAINS * TURNS * count / seconds / 1e9


def processor() -> str:
    """Return the name of the processor, as far as the system tells."""
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        return platform.processor() or platform.machine()
    return next((line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")), platform.machine())


def limits() -> dict[str, str]:
    """Return the machine in words: processor, cores, limits now, load now, versions."""
    count = threads()
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    packages = ", ".join(f"{name} {version(name)}" for name in ("numpy", "scipy", "numba"))
    return {
        "processor": f"{processor()}, {count} cores may be used",
        "memory traffic, a = b + s c in float32": f"{bandwidth_gb_s(1):.1f} GB/s in one thread, "
        f"{bandwidth_gb_s(count):.1f} in {count}",
        "multiply and add, float32": f"{gflop_s(1):.0f} Gflop/s in one thread, {gflop_s(count):.0f} in {count}",
        "load as it was measured (processes that want to run, last minute)": f"{load:.1f}",
        "versions": f"Python {platform.python_version()}, {packages}",
    }


if __name__ == "__main__":
    for name, value in limits().items():
        print(f"{name:<70}{value}")
