"""The wall solver with one line of its inner loop spoilt, run as plain Python, and a reference apart from it."""

from __future__ import annotations

import functools
import inspect
import sys
import types
from dataclasses import replace
from unittest import mock

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from castq.thermal import wall_kernel, wall_march
from castq.thermal.wall import freeze_walls
from tests.thermal.test_wall import ICE_BATH, pure_metal

Array = NDArray[np.float64]
COMPILED = '@njit(cache=True, nogil=True, error_model="numpy")\n'

# Half a slab of 40 mm whose conductivity rises fourfold as it cools; a film of 10 kW/m2K to a bath.
HALF_M, HEAT_J_M3K, FILM_W_M2K, BATH_C = 0.02, 2550.0 * 1000.0, 10_000.0, 300.0
HOT_C, COLD_C, HOT_K, COLD_K, STOP_C = 700.0, 320.0, 40.0, 160.0, 500.0
KNOTS = 200


def conductivity(temp_c: Array | float) -> Array:
    return np.asarray(COLD_K + (HOT_K - COLD_K) * (np.asarray(temp_c) - COLD_C) / (HOT_C - COLD_C))


def kernel_as_python(line: str = "", spoilt: str = "") -> types.ModuleType:
    """Return the wall kernel uncompiled, one line of it replaced; that the line stands there once is made sure."""
    text = inspect.getsource(wall_kernel)
    assert text.count(COMPILED) == 5
    assert not line or text.count(line) == 1, f"not once in the wall kernel: {line}"
    module = types.ModuleType("spoilt_wall_kernel")
    sys.modules[module.__name__] = module
    text = text.replace(COMPILED, "")
    exec(compile(text.replace(line, spoilt) if line else text, module.__name__, "exec"), module.__dict__)
    return module


def one_sided(enthalpy: float, beyond: float) -> float:
    """Return conductivity of the first cell times the fall of temperature to the next [W/m]."""
    here, there = COLD_C + enthalpy / HEAT_J_M3K, COLD_C + beyond / HEAT_J_M3K
    return float(conductivity(here)) * (here - there)


def times_s(kernel: types.ModuleType, cells: tuple[int, ...]) -> list[float]:
    """Return when the middle cell has cooled to 500 degC, on grids of so many cells [s]."""
    temps = np.linspace(HOT_C, COLD_C, KNOTS)
    solid = (HOT_C - temps) / (HOT_C - COLD_C)
    metal = replace(
        pure_metal(COLD_C, 1e-7, (COLD_K, 1000.0), (HOT_K, 1000.0)), liquidus_c=HOT_C, coherency_fs=0.1,
        fraction_solid_temp_c=temps, fraction_solid=solid, cutoff_fs=(HOT_C - STOP_C) / (HOT_C - COLD_C),
    )  # fmt: skip
    with mock.patch.object(wall_march, "kernel", kernel):
        runs = [
            freeze_walls(2e3 * HALF_M, alloy=metal, die=ICE_BATH, melt_temp_c=HOT_C, die_temp_c=BATH_C,
                         contact_w_m2k=FILM_W_M2K, gap_w_m2k=FILM_W_M2K, outer_temp_c=BATH_C, cells=n)
            for n in cells
        ]  # fmt: skip
    return [float(run.cutoff_s[0]) for run in runs]


@functools.cache
def reference_s() -> float:
    """Return the same time from finite volumes in temperature and a stiff integrator, carried to no cell size."""
    return (4.0 * _reference_s(120) - _reference_s(60)) / 3.0


def _reference_s(cells: int) -> float:
    size = HALF_M / cells

    def rates(_: float, temp: Array) -> Array:
        # The mean conductivity is exact where it is straight in temperature.
        flux = -conductivity(0.5 * (temp[1:] + temp[:-1])) * np.diff(temp) / size
        face = temp[-1]
        for _ in range(4):
            out = (temp[-1] - BATH_C) / (1.0 / FILM_W_M2K + 0.5 * size / float(conductivity(0.5 * (temp[-1] + face))))
            face = BATH_C + out / FILM_W_M2K
        return -np.diff(np.concatenate([[0.0], flux, [out]])) / (size * HEAT_J_M3K)

    def middle(_: float, temp: Array) -> float:
        return float(temp[0] + (temp[0] - temp[1]) / 8.0 - STOP_C)

    middle.terminal = True  # type: ignore[attr-defined]
    found = solve_ivp(rates, (0.0, 60.0), np.full(cells, HOT_C), "BDF", events=middle, rtol=1e-8, atol=1e-6)
    return float(found.t_events[0][0])
