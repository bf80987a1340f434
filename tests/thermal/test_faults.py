"""Seeded faults: the order tests that the right solvers pass must fail on a solver with one fault.

Each fault leaves every temperature curve looking right. In the wall solver a line of the kernel is replaced; in the
solid solver the fault is laid over its arrays and its interface. The wall solver takes all at the old time with
steps as the square of the cell, so the third fault cannot show in it.
"""

from __future__ import annotations

import numpy as np
import pytest

from castq.thermal import wall_kernel
from tests.thermal.manufactured import NONE, Faults, film_off, space_orders, time_orders, two_metal_error
from tests.thermal.spoilt_wall import kernel_as_python, one_sided, reference_s, times_s
from tests.thermal.test_solid_march import orders

CELLS = (8, 16, 32)
# The order on the finest pair of grids that tells a right solver from a spoilt one.
LEAST = 1.8


def wall_orders(kernel: object) -> tuple[list[float], float]:
    """Return the orders of the time to 500 degC over three grids, and its error on the finest [-]."""
    errors = [time / reference_s() - 1.0 for time in times_s(kernel, CELLS)]  # type: ignore[arg-type]
    return orders(errors), abs(errors[-1])


def test_wall_solver_is_second_order_with_a_conductivity_that_varies() -> None:
    found, error = wall_orders(wall_kernel)
    assert found[-1] > LEAST and error < 1e-4


def test_the_kernel_as_plain_python_gives_the_same_bits() -> None:
    assert times_s(kernel_as_python(), (8,)) == times_s(wall_kernel, (8,))


def test_half_cell_left_out_of_the_wall_solver_is_caught() -> None:
    line = "half_cell = 0.5 * dx / (lines[s, 4] + lines[s, 5] * skin)"
    found, error = wall_orders(kernel_as_python(line, "half_cell = 0.0"))
    assert max(found) < 1.3 < LEAST
    assert error < 0.05


def test_one_sided_conductivity_in_the_wall_solver_is_caught() -> None:
    kernel = kernel_as_python(
        "outflow = (potential[i] - potential[i + 1]) / dx",
        "outflow = one_sided(enthalpy[i], enthalpy[i + 1]) / dx",
    )
    kernel.one_sided = one_sided  # type: ignore[attr-defined]
    found, error = wall_orders(kernel)
    assert max(found) < 1.3 < LEAST
    assert error < 0.02


@pytest.mark.parametrize("fault", [Faults(half_cell=0.0), Faults(source_at=0.0), Faults(old_flux=True)],
                         ids=["half cell", "old source", "old flux"])  # fmt: skip
def test_solid_solver_with_a_fault_is_caught_by_one_of_its_two_orders(fault: Faults) -> None:
    """Each fault shows in the order it belongs to and leaves the other alone; 100 K waves stay right within 0.5 K."""
    in_space, in_time = space_orders(fault)[-1], time_orders(fault)[-1]
    assert min(in_space, in_time) < 1.3 < LEAST < max(in_space, in_time)
    assert np.abs(film_off(32, 0.005, fault)).max() < 0.5


def test_solid_solver_without_a_fault_passes_both() -> None:
    assert min(space_orders(NONE)[-1], time_orders(NONE)[-1]) > LEAST


def test_one_sided_conductivity_in_the_solid_solver_is_caught() -> None:
    right, wrong = ([two_metal_error(cells, fault) for cells in CELLS] for fault in (NONE, Faults(one_sided=True)))
    assert orders(right)[-1] > LEAST
    assert max(orders(wrong)) < 1.3 < LEAST
    assert wrong[-1] < 0.05
