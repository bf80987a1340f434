"""The inner loops of the solid solver: conduction with freezing in the casting, plain conduction in the die.

Cells lie in a padded box stored row by row; `runs` lists the stretches of active cells. A face between two cells has a
weight (share of a full voxel face, in hundredths) stored with its lower cell, so both cells see the same heat. Over one
long step only differences from its start are carried, which keeps single precision exact enough for the heat balance.
"""

# Compiled kernels take plain arrays, each by itself. Unsigned places let the loops use the wide registers.

from __future__ import annotations

import numpy as np
from numba import njit

# Kinks of the heat potential over enthalpy; a constant, so that the loop over them is unrolled.
KINKS = 16
FAST = {"contract", "nsz", "reassoc"}
ONE = np.uint64(1)
LIQUIDUS, COHERENCY, CUTOFF, STEEP, SOLID = range(5)
EVENTS = 5


@njit(cache=True, nogil=True, error_model="numpy", fastmath=FAST)
def _above(value, kink):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return by how much a value exceeds a kink, or zero."""
    over = value - kink
    zero = kink - kink
    return over if over > zero else zero


@njit(cache=True, nogil=True, error_model="numpy", fastmath=FAST)
def potential(enthalpy, slope, kinks, bends) -> float:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return the heat potential at an enthalpy as a sum of bends."""
    total = slope * enthalpy + bends[0] * _above(enthalpy, kinks[0]) + bends[1] * _above(enthalpy, kinks[1])
    total += bends[2] * _above(enthalpy, kinks[2]) + bends[3] * _above(enthalpy, kinks[3])
    total += bends[4] * _above(enthalpy, kinks[4]) + bends[5] * _above(enthalpy, kinks[5])
    total += bends[6] * _above(enthalpy, kinks[6]) + bends[7] * _above(enthalpy, kinks[7])
    total += bends[8] * _above(enthalpy, kinks[8]) + bends[9] * _above(enthalpy, kinks[9])
    total += bends[10] * _above(enthalpy, kinks[10]) + bends[11] * _above(enthalpy, kinks[11])
    total += bends[12] * _above(enthalpy, kinks[12]) + bends[13] * _above(enthalpy, kinks[13])
    total += bends[14] * _above(enthalpy, kinks[14]) + bends[15] * _above(enthalpy, kinks[15])
    return total


@njit(cache=True, nogil=True, error_model="numpy", fastmath=FAST)
def start_casting(runs, strides, wx, wy, wz, gain, source, first, slope, kinks, bends, h0, theta0, l0, d1, phi) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Store the rate of change at the start of a long step, the first stage, and its rise of heat potential."""
    sx, sy = strides[0], strides[1]
    for r in range(runs.shape[0]):
        for c in range(runs[r, 0], runs[r, 1]):
            here = theta0[c]
            total = wx[c] * (theta0[c + sx] - here) + wx[c - sx] * (theta0[c - sx] - here)
            total += wy[c] * (theta0[c + sy] - here) + wy[c - sy] * (theta0[c - sy] - here)
            total += wz[c] * (theta0[c + ONE] - here) + wz[c - ONE] * (theta0[c - ONE] - here)
            l0[c] = gain[c] * total + source[c]
        for c in range(runs[r, 0], runs[r, 1]):
            d1[c] = first * l0[c]
            phi[c] = potential(h0[c] + d1[c], slope, kinks, bends) - theta0[c]


@njit(cache=True, nogil=True, error_model="numpy", fastmath=FAST)
def stage_casting(  # type: ignore[no-untyped-def]  # pragma: no cover
    runs, strides, wx, wy, wz, gain, weights, slope, kinks, bends, h0, theta0, l0, phi, d1, d2, out
) -> None:
    """Replace `d2` by the next stage and store its rise of heat potential in `out`."""
    sx, sy = strides[0], strides[1]
    mu, nu, new, old = weights[0], weights[1], weights[2], weights[3]
    for r in range(runs.shape[0]):
        for c in range(runs[r, 0], runs[r, 1]):
            here = phi[c]
            total = wx[c] * (phi[c + sx] - here) + wx[c - sx] * (phi[c - sx] - here)
            total += wy[c] * (phi[c + sy] - here) + wy[c - sy] * (phi[c - sy] - here)
            total += wz[c] * (phi[c + ONE] - here) + wz[c - ONE] * (phi[c - ONE] - here)
            out[c] = gain[c] * total
        for c in range(runs[r, 0], runs[r, 1]):
            step = mu * d1[c] + nu * d2[c] + new * out[c] + old * l0[c]
            d2[c] = step
            out[c] = potential(h0[c] + step, slope, kinks, bends) - theta0[c]


@njit(cache=True, nogil=True, error_model="numpy", fastmath=FAST)
def start_die(runs, strides, wx, wy, wz, gain, source, first, temp, l0, d1) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Store the rate of change of the die at the start of a long step, and the first stage."""
    sx, sy = strides[0], strides[1]
    for r in range(runs.shape[0]):
        for c in range(runs[r, 0], runs[r, 1]):
            here = temp[c]
            total = wx[c] * (temp[c + sx] - here) + wx[c - sx] * (temp[c - sx] - here)
            total += wy[c] * (temp[c + sy] - here) + wy[c - sy] * (temp[c - sy] - here)
            total += wz[c] * (temp[c + ONE] - here) + wz[c - ONE] * (temp[c - ONE] - here)
            l0[c] = gain[c] * total + source[c]
            d1[c] = first * l0[c]


@njit(cache=True, nogil=True, error_model="numpy", fastmath=FAST)
def stage_die(runs, strides, wx, wy, wz, gain, weights, l0, d1, d2) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Replace `d2` by the next stage; conduction in the die is linear, so the differences suffice."""
    sx, sy = strides[0], strides[1]
    mu, nu, new, old = weights[0], weights[1], weights[2], weights[3]
    for r in range(runs.shape[0]):
        for c in range(runs[r, 0], runs[r, 1]):
            here = d1[c]
            total = wx[c] * (d1[c + sx] - here) + wx[c - sx] * (d1[c - sx] - here)
            total += wy[c] * (d1[c + sy] - here) + wy[c - sy] * (d1[c - sy] - here)
            total += wz[c] * (d1[c + ONE] - here) + wz[c - ONE] * (d1[c - ONE] - here)
            d2[c] = mu * here + nu * d2[c] + new * gain[c] * total + old * l0[c]


@njit(cache=True, nogil=True, error_model="numpy", fastmath=FAST)
def finish_casting(runs, step, slope, kinks, bends, h0, theta0) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Add the change over the long step and renew the heat potential."""
    for r in range(runs.shape[0]):
        for c in range(runs[r, 0], runs[r, 1]):
            h0[c] += step[c]
            theta0[c] = potential(h0[c], slope, kinks, bends)


@njit(cache=True, nogil=True, error_model="numpy")
def carry_casting(  # type: ignore[no-untyped-def]  # pragma: no cover
    runs, strides, wx, wy, wz, gain, source, first, weights, slope, kinks, bends, h0, theta0, l0, d1, d2, phi, out
) -> None:
    """Carry the casting over a long step; an odd number of stages leaves its change in `d1`."""
    start_casting(runs, strides, wx, wy, wz, gain, source, first, slope, kinks, bends, h0, theta0, l0, d1, phi)
    for row in range(0, weights.shape[0], 2):
        one, two = weights[row], weights[row + 1]
        stage_casting(runs, strides, wx, wy, wz, gain, one, slope, kinks, bends, h0, theta0, l0, phi, d1, d2, out)
        stage_casting(runs, strides, wx, wy, wz, gain, two, slope, kinks, bends, h0, theta0, l0, out, d2, d1, phi)
    finish_casting(runs, d1, slope, kinks, bends, h0, theta0)


@njit(cache=True, nogil=True, error_model="numpy")
def carry_die(runs, strides, wx, wy, wz, gain, source, first, weights, temp, l0, d1, d2) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Carry the die over a long step; an odd number of stages leaves its change in `d1`."""
    start_die(runs, strides, wx, wy, wz, gain, source, first, temp, l0, d1)
    for row in range(0, weights.shape[0], 2):
        stage_die(runs, strides, wx, wy, wz, gain, weights[row], l0, d1, d2)
        stage_die(runs, strides, wx, wy, wz, gain, weights[row + 1], l0, d2, d1)
    for r in range(runs.shape[0]):
        for c in range(runs[r, 0], runs[r, 1]):
            temp[c] += d1[c]
