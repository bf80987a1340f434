"""What happens between the long steps: heat through the interface and to the surroundings."""

# Compiled kernels take plain arrays, each by itself.

from __future__ import annotations

import numpy as np
from numba import njit

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
    """Let each piece of skin leave the die at which its mean temperature [degC] falls to the switch.

    One link of a rough skin that leaves alone would warm its neighbours and hold them on the die. A piece about to
    leave, as its fall over the last step tells, touches for a share of the step to come. Returns the pieces that left.
    """
    if not np.any(touching > 0.0):
        return 0
    skin[:, :2] = 0.0
    for n in range(casting.size):
        if touching[piece[n]] == 1.0:
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
        if touching[p] == 1.0:
            mean = skin[p, 0] / skin[p, 1]
            fall = skin[p, 2] - mean
            if mean - max(fall, 0.0) < switch_c:
                touching[p] = max(mean - switch_c, 0.0) / max(fall, 1e-9)
                left += 1
            skin[p, 2] = mean
        elif touching[p] > 0.0:
            touching[p] = 0.0
            left += 1
    return left


@njit(cache=True, nogil=True, error_model="numpy")
def exchange(  # type: ignore[no-untyped-def]  # pragma: no cover
    casting, die, geometry, films, touching, piece, lines_of, bounds, lines, zero_c, h, temp, fresh, noted
) -> None:
    """Store the heat flux [W/m2] of each link and the die's surface temperature.

    `geometry` holds for each link the casting's half cell [m], the die's half resistance [m2K/W], the area over heat
    capacity of either cell [m2K/J], and the area over volume of the casting's [1/m].
    """
    for n in range(casting.size):
        value = float(h[casting[n]])
        s = piece_of(value, bounds, lines_of[n])
        lines_of[n] = s
        hot, cold = lines[s, 2] + lines[s, 3] * value, zero_c + temp[die[n]]
        between = geometry[n, 0] / (lines[s, 4] + lines[s, 5] * value) + geometry[n, 1]
        contact = touching[piece[n]]
        flux = (hot - cold) * (contact / (between + films[n, 0]) + (1.0 - contact) / (between + films[n, 1]))
        # A trend across the moment of leaving would be none.
        noted[n, LAST_FLUX] = noted[n, FLUX] if contact == fresh[n] else flux
        fresh[n] = contact
        noted[n, FLUX] = flux
        noted[n, LATEST_C] = cold + flux * geometry[n, 1]
        noted[n, PEAK_C] = max(noted[n, PEAK_C], noted[n, LATEST_C])


@njit(cache=True, nogil=True, error_model="numpy")
def relaxation(casting, geometry, films, touching, piece, lines_of, lines, h, slots, stiff) -> float:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return the fastest relaxation of any pair of cells toward each other [1/s]."""
    stiff[:] = 0.0
    for n in range(casting.size):
        s = lines_of[n]
        between = geometry[n, 0] / (lines[s, 4] + lines[s, 5] * float(h[casting[n]])) + geometry[n, 1]
        between += films[n, 0] if touching[piece[n]] > 0.0 else films[n, 1]
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
def take_from_die(place, rise_w_k, heat_j_k, outside, temp, source) -> float:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Add what a bath takes to the sources of the die; return the heat it takes [W]."""
    taken = 0.0
    for n in range(place.size):
        rate = rise_w_k[n] * (temp[place[n]] - outside)
        source[place[n]] -= rate
        taken += rate * heat_j_k[n]
    return taken


@njit(cache=True, nogil=True, error_model="numpy")
def take_from_casting(  # type: ignore[no-untyped-def]  # pragma: no cover
    place, half, film, share, volume, outside, bounds, lines, h, source
) -> float:
    """Add what a bath takes to the sources of the casting; return the heat it takes [W].

    `half` holds the way from the middle of the cell to the face [m], `share` the area over volume of the cell [1/m].
    """
    taken = 0.0
    for n in range(place.size):
        value = float(h[place[n]])
        s = piece_of(value, bounds, lines.shape[0] // 2)
        between = film + half[n] / (lines[s, 4] + lines[s, 5] * value)
        rate = share[n] * (lines[s, 2] + lines[s, 3] * value - outside) / between
        source[place[n]] -= rate
        taken += rate * volume[n]
    return taken
