"""What happens between the stages: heat through the interface, the end of a long step, and what is noted of it."""

# Compiled kernels take plain arrays, each by itself.

from __future__ import annotations

import numpy as np
from numba import njit

from castq.thermal.solid_kernel import EVENTS, STEEP

# Columns of what is noted of a link.
PEAK_C, LATEST_C, FLUX, LAST_FLUX = range(4)


@njit(cache=True, nogil=True, error_model="numpy")
def piece_of(value, bounds, guess) -> int:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return the piece of the heat table that holds an enthalpy, starting from a guess."""
    while value < bounds[guess]:
        guess -= 1
    while value >= bounds[guess + 1]:
        guess += 1
    return guess


@njit(cache=True, nogil=True, error_model="numpy")
def leave_die(  # type: ignore[no-untyped-def]  # pragma: no cover
    casting, die, geometry, area, films, touching, piece, lines_of, bounds, lines, switch_c, zero_c, h, temp, skin
) -> int:
    """Let each piece of skin leave the die at which its mean temperature [degC] has fallen to the switch.

    One link of a rough skin that leaves alone would warm its neighbours and hold them on the die.
    """
    skin[:, :2] = 0.0
    for n in range(casting.size):
        if touching[piece[n]]:
            value = float(h[casting[n]])
            s = piece_of(value, bounds, lines_of[n])
            lines_of[n] = s
            hot, cold = lines[s, 2] + lines[s, 3] * value, zero_c + temp[die[n]]
            half = geometry[n, 0] / (lines[s, 4] + lines[s, 5] * value)
            flux = (hot - cold) / (half + films[n, 0] + geometry[n, 1])
            skin[piece[n], 0] += area[n] * (hot - flux * half)
            skin[piece[n], 1] += area[n]
    left = 0
    for p in range(touching.size):
        if touching[p]:
            mean = skin[p, 0] / skin[p, 1]
            # Half a step ahead, so that on the whole no skin leaves late.
            if mean + 0.5 * min(mean - skin[p, 2], 0.0) < switch_c:
                touching[p] = False
                left += 1
            skin[p, 2] = mean
    return left


@njit(cache=True, nogil=True, error_model="numpy")
def exchange(  # type: ignore[no-untyped-def]  # pragma: no cover
    casting, die, geometry, films, touching, piece, lines_of, bounds, lines, zero_c, h, temp, fresh, noted, slots, stiff
) -> float:
    """Store the heat flux [W/m2] of each link and the die's surface temperature; return the fastest relaxation [1/s].

    `geometry` holds for each link the casting's half cell [m], the die's half resistance [m2K/W], the area over heat
    capacity of either cell [m2K/J], and the area over volume of the casting's [1/m].
    """
    stiff[:] = 0.0
    for n in range(casting.size):
        value = float(h[casting[n]])
        s = piece_of(value, bounds, lines_of[n])
        lines_of[n] = s
        hot, cold = lines[s, 2] + lines[s, 3] * value, zero_c + temp[die[n]]
        between = geometry[n, 0] / (lines[s, 4] + lines[s, 5] * value) + geometry[n, 1]
        contact = touching[piece[n]]
        between += films[n, 0] if contact else films[n, 1]
        flux = (hot - cold) / between
        # A trend across the moment of leaving would be none.
        noted[n, LAST_FLUX] = noted[n, FLUX] if contact == fresh[n] else flux
        fresh[n] = contact
        noted[n, FLUX] = flux
        noted[n, LATEST_C] = cold + flux * geometry[n, 1]
        noted[n, PEAK_C] = max(noted[n, PEAK_C], noted[n, LATEST_C])
        stiff[slots[n, 0]] += geometry[n, 2] / between
        stiff[slots[n, 1]] += geometry[n, 3] / between
    worst = 0.0
    for n in range(casting.size):
        worst = max(worst, stiff[slots[n, 0]] + stiff[slots[n, 1]])
    return worst


@njit(cache=True, nogil=True, error_model="numpy")
def spread_flux(casting, die, geometry, ahead, noted, casting_source, die_source) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Turn the fluxes, carried forward over the step by their trend, into sources of the two bodies."""
    for n in range(casting.size):
        casting_source[casting[n]] = 0.0
        die_source[die[n]] = 0.0
    for n in range(casting.size):
        flux = noted[n, FLUX] + ahead * (noted[n, FLUX] - noted[n, LAST_FLUX])
        casting_source[casting[n]] -= flux * geometry[n, 4]
        die_source[die[n]] += flux * geometry[n, 3]


@njit(cache=True, nogil=True, error_model="numpy")
def spread_outer(place, rise_w_k, outside, temp, die_source) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Add what leaves the outer faces to the sources of the die."""
    for n in range(place.size):
        die_source[place[n]] += rise_w_k[n] * (outside - temp[place[n]])


@njit(cache=True, nogil=True, error_model="numpy")
def _temperature(value, bounds, lines):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return the temperature at an enthalpy [degC]."""
    s = piece_of(value, bounds, lines.shape[0] // 2)
    return lines[s, 2] + lines[s, 3] * value


@njit(cache=True, nogil=True, error_model="numpy")
def _enthalpy(temp, bounds, lines):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return the enthalpy at a temperature [J/m3]."""
    s = lines.shape[0] - 1
    while s > 0 and lines[s, 2] + lines[s, 3] * bounds[s] > temp:
        s -= 1
    return (temp - lines[s, 2]) / lines[s, 3]


@njit(cache=True, nogil=True, error_model="numpy")
def _gradient(c, strides, weights, h, bounds, lines):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return the temperature of a cell [degC] and how far it changes over the length of a cell [K]."""
    here = _temperature(float(h[c]), bounds, lines)
    square = 0.0
    for axis in range(3):
        stride = strides[axis]
        low, high, apart = here, here, 0
        if weights[axis, c] > 0:
            high = _temperature(float(h[c + stride]), bounds, lines)
            apart += 1
        if weights[axis, c - stride] > 0:
            low = _temperature(float(h[c - stride]), bounds, lines)
            apart += 1
        if apart > 0:
            square += ((high - low) / apart) ** 2
    return here, np.sqrt(square)


@njit(cache=True, nogil=True, error_model="numpy")
def note_events(  # type: ignore[no-untyped-def]  # pragma: no cover
    place, strides, weights, step, h, marks, mark_c, reach, bounds, lines, start_s, tau_s, stage, times, gradient, rate
) -> None:
    """Store when the middle of each cell passes the marks, and at one of them the gradient and the cooling rate.

    The mean of a cell whose one half is past a mark lies off the value in its middle: the enthalpy of both halves,
    with the gradient at hand, gives the mean at which the middle passes.
    """
    for n in range(place.size):
        c = place[n]
        after = float(h[c])
        if stage[n] == EVENTS or after > marks[stage[n]] + reach[stage[n]]:
            continue
        here, across = _gradient(c, strides, weights, h, bounds, lines)
        while stage[n] < EVENTS:
            level, temp = marks[stage[n]], mark_c[stage[n]]
            above = _enthalpy(temp + 0.25 * across, bounds, lines) - level
            below = level - _enthalpy(temp - 0.25 * across, bounds, lines)
            level += 0.5 * (above - below)
            if after > level:
                break
            before = after - step[c]
            share = (before - level) / (before - after) if before > after else 0.0
            times[stage[n], n] = start_s + tau_s * min(max(share, 0.0), 1.0)
            if stage[n] == STEEP:
                gradient[n] = across
                rate[n] = (_temperature(before, bounds, lines) - here) / tau_s
            stage[n] += 1


@njit(cache=True, nogil=True, error_model="numpy")
def largest_reheat(place, step, h, threshold, bounds, lines) -> float:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return the largest rise of temperature of any cell over the step [K]."""
    worst = 0.0
    for n in range(place.size):
        change = step[place[n]]
        if change > threshold:
            after = float(h[place[n]])
            rise = _temperature(after, bounds, lines) - _temperature(after - change, bounds, lines)
            worst = max(worst, rise)
    return worst
