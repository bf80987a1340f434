"""The inner loop of the wall solver: explicit enthalpy finite volumes, one run after the other, free of the GIL.

Casting cell 0 lies on the middle of the wall, the last one on the die. The state of a casting cell is its enthalpy
[J/m3]; heat potential (integral of conductivity over temperature), temperature and conductivity are straight lines in
it between `bounds`, so that conduction with a conductivity that follows the fraction solid needs no averaging.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Columns of the plain numbers of one run.
CELL_M, STEP_S, CONTACT, GAP, SWITCH_C, START, MELT, MELT_POTENTIAL = range(8)
DIE_START_C, DIE_HALF_CELL, OUTER_C, LIFT = range(8, 12)
NUMBERS = 12
# Columns of the result of one run: events of the watched cell first.
LIQUIDUS, COHERENCY, CUTOFF, SOLID, SURFACE_LIQUIDUS, SURFACE_SOLID, DIE_SURFACE, RESIDUAL = range(8)
RESULTS = 8


class State(NamedTuple):
    """What the kernel needs, one row for each run.

    Attributes
    ----------
    cells, watched : array (runs,)
        Cells in the half wall, and the cell whose events are noted.
    numbers : array (runs, NUMBERS)
        Plain numbers.
    bounds, lines, marks : array (runs, ...)
        As in `castq.thermal.heat_table.HeatTable`.
    capacity, conductance : array (runs, die cells)
        Heat capacity [J/m2K] of each die cell and conductance [W/m2K] of the face behind it.
    """

    cells: NDArray[np.int64]
    watched: NDArray[np.int64]
    numbers: Array
    bounds: Array
    lines: Array
    marks: Array
    capacity: Array
    conductance: Array


@njit(cache=True, nogil=True, error_model="numpy")
def _update_potential(enthalpy: Array, piece: NDArray[np.int64], bounds: Array, lines: Array, potential: Array) -> None:
    """Fill the heat potential of each cell; `piece` remembers the straight line each cell is on."""
    for i in range(enthalpy.size):
        value = enthalpy[i]
        s = piece[i]
        while value < bounds[s]:
            s -= 1
        while value >= bounds[s + 1]:
            s += 1
        piece[i] = s
        potential[i] = lines[s, 0] + lines[s, 1] * value


@njit(cache=True, nogil=True, error_model="numpy")
def _cool_casting(enthalpy: Array, potential: Array, dx: float, share: float, flux: float) -> None:
    """Move heat between the casting cells and out of the last one by the interface flux [W/m2]."""
    last = enthalpy.size - 1
    inflow = 0.0
    for i in range(last):
        outflow = (potential[i] - potential[i + 1]) / dx
        enthalpy[i] += share * (inflow - outflow)
        inflow = outflow
    enthalpy[last] += share * (inflow - flux)


@njit(cache=True, nogil=True, error_model="numpy")
def _heat_die(die: Array, rise: Array, conductance: Array, flux: float, outer_c: float) -> float:
    """Move the interface flux [W/m2] into the die; return the flux that leaves its outer face."""
    last = die.size - 1
    inflow = flux
    for j in range(last):
        outflow = conductance[j] * (die[j] - die[j + 1])
        die[j] += rise[j] * (inflow - outflow)
        inflow = outflow
    outflow = conductance[last] * (die[last] - outer_c)
    die[last] += rise[last] * (inflow - outflow)
    return outflow


@njit(cache=True, nogil=True, error_model="numpy")
def _freeze(state: State, r: int, most_steps: int, out: Array) -> None:
    """Freeze one wall; `out` keeps NaN where an event has not come within `most_steps`."""
    n, watched = state.cells[r], state.watched[r]
    number, bounds, lines, marks = state.numbers[r], state.bounds[r], state.lines[r], state.marks[r]
    capacity, conductance = state.capacity[r], state.conductance[r]
    dx, dt = number[CELL_M], number[STEP_S]
    film, touching = 1.0 / number[CONTACT], True
    enthalpy = np.full(n, number[START])
    piece = np.full(n, lines.shape[0] - 1)
    potential = np.empty(n)
    die = np.full(capacity.size, number[DIE_START_C])
    rise = dt / capacity
    event, last_middle, lost, step = 0, np.inf, 0.0, 0
    while step < most_steps and np.isnan(out[SOLID]):
        _update_potential(enthalpy, piece, bounds, lines, potential)
        middle = potential[watched] + number[LIFT] * (potential[watched] - potential[watched + 1])
        if np.isnan(out[LIQUIDUS]):
            if middle <= number[MELT_POTENTIAL]:
                out[LIQUIDUS] = dt * (step - (number[MELT_POTENTIAL] - middle) / (last_middle - middle))
            elif enthalpy[watched] <= marks[0]:
                out[LIQUIDUS] = dt * step
        last_middle = middle
        skin, s = enthalpy[n - 1], piece[n - 1]
        temp = lines[s, 2] + lines[s, 3] * skin
        half_cell = 0.5 * dx / (lines[s, 4] + lines[s, 5] * skin)
        flux = (temp - die[0]) / (half_cell + film + number[DIE_HALF_CELL])
        if touching and temp - flux * half_cell < number[SWITCH_C]:
            film, touching = 1.0 / number[GAP], False
        out[DIE_SURFACE] = die[0] + flux * number[DIE_HALF_CELL]
        before = enthalpy[watched]
        _cool_casting(enthalpy, potential, dx, dt / dx, flux)
        lost += dt * _heat_die(die, rise, conductance, flux, number[OUTER_C])
        for column, level in ((SURFACE_LIQUIDUS, number[MELT]), (SURFACE_SOLID, 0.0)):
            if np.isnan(out[column]) and enthalpy[n - 1] <= level:
                out[column] = dt * (step + (skin - level) / (skin - enthalpy[n - 1]))
        after = enthalpy[watched]
        while event < 3 and after <= marks[event]:
            out[COHERENCY + event] = dt * (step + (before - marks[event]) / (before - after))
            event += 1
        step += 1
    given = np.sum(number[START] - enthalpy) * dx
    out[RESIDUAL] = (np.sum(capacity * (die - number[DIE_START_C])) + lost - given) / given


@njit(cache=True, nogil=True, error_model="numpy")
def march(runs: NDArray[np.int64], state: State, most_steps: int, out: Array) -> None:
    """Freeze the walls listed in `runs`, one row of `out` for each run of the state."""
    for r in runs:
        _freeze(state, r, most_steps, out[r])
