"""What is noted of each casting cell on the march: when it passes the marks, and gradient and cooling rate at one."""

# Compiled kernels take plain arrays, each by itself.

from __future__ import annotations

import numpy as np
from numba import njit

from castq.thermal.lanes import LANES
from castq.thermal.solid_bodies import Casting
from castq.thermal.solid_contact import piece_of
from castq.thermal.solid_kernel import EVENTS, GUARD, STEEP
from castq.thermal.solid_problem import Problem
from castq.thermal.solid_rows import rows_of

# Rise of temperature over a step that is looked into [K].
WARMER_K = 0.5
# Share of the way to a mark still left when a cell is looked at again.
LOOK_AGAIN = 0.6
_NEVER = -1e30


class Notes:
    """What is noted of each casting cell."""

    def __init__(self, problem: Problem, casting: Casting) -> None:
        rows, self.place = rows_of(problem.casting), casting.place
        self.rows, self.marks = (rows.near, rows.faces), (problem.marks_j_m3, problem.mark_c)
        count = self.place.size
        self.cell = np.full(rows.volume.size, -1, np.int32)
        self.cell[self.place] = np.arange(count, dtype=np.int32)
        self.stage = np.zeros(count, np.uint8)
        self.times = np.full((EVENTS, count), np.nan, np.float32)
        self.gradient, self.rate = (np.full(count, np.nan, np.float32) for _ in range(2))
        self.table = (problem.table.bounds_j_m3[0], problem.table.lines[0])
        # A closed face of these is the surface; of all others a plane of symmetry, which nothing crosses.
        self.skin = np.zeros(rows.volume.size, bool)
        self.skin[problem.links.casting] = True
        # Half of what is still to be freed at the temperature of a mark may lie in the other half of the cell.
        reach = 0.5 * float(np.diff(self.table[0][1:-1]).max())
        self.levels = np.append(self.marks[0] + reach + 1e-6 * np.abs(self.marks[0]), _NEVER).astype(casting.h.dtype)
        casting.due[self.place] = self.levels[0]
        casting.warmer = casting.real(WARMER_K / float(problem.table.lines[:, :, 3].max()))
        self.reheat_k = 0.0
        self.left = count

    @property
    def all_solid(self) -> bool:
        """Whether each cell has passed the last mark."""
        return self.left == 0

    def take(self, casting: Casting, start_s: float, tau_s: float) -> None:
        """Note what happened over the step just made."""
        fields = (casting.h, casting.d1, casting.due, casting.warmer)
        left, rise = _note(casting.call, self.cell, self.skin, *self.rows, *fields, *self.marks, self.levels,
                           *self.table, start_s, tau_s, self.stage, self.times, self.gradient, self.rate)  # fmt: skip
        self.left -= left
        self.reheat_k = max(self.reheat_k, float(rise))


@njit(cache=True, nogil=True, error_model="numpy")
def _enthalpy(temp, bounds, lines, guess):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return the enthalpy at a temperature [J/m3]."""
    s = guess
    while s < lines.shape[0] - 1 and lines[s, 2] + lines[s, 3] * bounds[s + 1] <= temp:
        s += 1
    while s > 0 and lines[s, 2] + lines[s, 3] * bounds[s] > temp:
        s -= 1
    return (temp - lines[s, 2]) / lines[s, 3]


@njit(cache=True, nogil=True, error_model="numpy")
def _beside(side, c, near, faces, size):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return the packed place of a neighbour of a cell, before and after along x, y and z; the cell where none is."""
    face, step = side * size + c, 1
    if side < 4:
        step = near[4 * ((c - GUARD) // LANES) + side]
    elif side == 4:
        face, step = face - 1, -1
    else:
        face -= size
    return c + step if faces[face] > 0 else c


@njit(cache=True, nogil=True, error_model="numpy")
def _gradient(c, s, skin, near, faces, h, bounds, lines):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return the temperature of a cell [degC] and how far it changes over the length of a cell [K]."""
    here = lines[s, 2] + lines[s, 3] * float(h[c])
    square = 0.0
    for axis in range(3):
        rise, apart = 0.0, 0
        for way in range(2):
            other = _beside(2 * axis + way, c, near, faces, h.size)
            if other != c:
                value = float(h[other])
                piece = piece_of(value, bounds, s)
                rise += (2 * way - 1) * (lines[piece, 2] + lines[piece, 3] * value - here)
                apart += 1
        square += (rise / (max(apart, 1) if skin[c] else 2)) ** 2
    return here, np.sqrt(square)


@njit(cache=True, nogil=True, error_model="numpy")
def _overheat(c, near, faces, h, step, bounds, lines):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return how far a cell is warmer than itself and any neighbour at the start and at the end of the step [K]."""
    after = float(h[c])
    most = after - step[c]
    for side in range(6):
        other = _beside(side, c, near, faces, h.size)
        if other != c:
            most = max(most, float(h[other]), float(h[other]) - step[other])
    s = piece_of(after, bounds, lines.shape[0] // 2)
    piece = piece_of(most, bounds, s)
    return lines[s, 2] + lines[s, 3] * after - lines[piece, 2] - lines[piece, 3] * most


@njit(cache=True, nogil=True, error_model="numpy")
def _note(  # type: ignore[no-untyped-def]  # pragma: no cover
    call, cell, skin, near, faces, h, step, due, warmer, marks, mark_c, levels, bounds, lines, start_s, tau_s, stage,
    times, gradient, rate
) -> tuple[int, float]:  # fmt: skip
    """Store when the middle of each cell passes the marks, and at one of them the gradient and the cooling rate.

    The mean of a cell whose one half is past a mark lies off the value in its middle: the enthalpy of both halves,
    with the gradient at hand, gives the mean at which the middle passes. Returns the cells that have passed the last
    mark, and by how much any cell is warmer than anything around it was [K].
    """
    done, worst = 0, 0.0
    for b in range(call.size):
        if not call[b]:
            continue
        for c in range(GUARD + LANES * b, GUARD + LANES * b + LANES):
            n = cell[c]
            if n < 0:
                continue
            if step[c] > warmer:
                worst = max(worst, _overheat(c, near, faces, h, step, bounds, lines))
            if h[c] >= due[c]:
                continue
            after = float(h[c])
            s = piece_of(after, bounds, lines.shape[0] // 2)
            here, across = _gradient(c, s, skin, near, faces, h, bounds, lines)
            while stage[n] < EVENTS:
                level, temp = marks[stage[n]], mark_c[stage[n]]
                over = _enthalpy(temp + 0.25 * across, bounds, lines, s) - level
                under = level - _enthalpy(temp - 0.25 * across, bounds, lines, s)
                level += 0.5 * (over - under)
                if after > level:
                    # The level hardly moves with the gradient: no need to look again before half the way to it.
                    due[c] = level + LOOK_AGAIN * (after - level)
                    break
                before = after - step[c]
                share = min((before - level) / (before - after), 1.0) if before > after else 0.0
                least = times[stage[n] - 1, n] if stage[n] > 0 else 0.0
                times[stage[n], n] = max(start_s + tau_s * share, least)
                if stage[n] == STEEP:
                    piece = piece_of(before, bounds, s)
                    gradient[n] = across
                    rate[n] = (lines[piece, 2] + lines[piece, 3] * before - here) / tau_s
                stage[n] += 1
                due[c] = levels[stage[n]]
            if stage[n] == EVENTS:
                done += 1
    return done, worst
