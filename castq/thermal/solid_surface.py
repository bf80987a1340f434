"""What happens between the long steps of the solid solver: heat through the interface, and what is noted of a cell."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from castq.thermal import solid_contact as contact
from castq.thermal import solid_kernel as kernel
from castq.thermal.solid_bodies import Casting, Die
from castq.thermal.solid_problem import Problem

Places = NDArray[np.int64]


class Interface:
    """The links between the bodies, and the outer faces of the die."""

    def __init__(self, problem: Problem, zero_c: float) -> None:
        links, dx = problem.links, problem.spacing_m
        self.sides = (links.casting, links.die)
        least_j_m3k = 1.0 / float(problem.table.lines[:, :, 3].max())
        casting_area = links.area / (problem.casting.volume[links.casting] * dx)
        die_area = links.area / (problem.die.volume[links.die] * dx * problem.die_j_m3k)
        self.geometry = np.column_stack([
            links.casting_half * dx, links.die_half * dx / problem.die_k_w_mk, casting_area / least_j_m3k, die_area,
            casting_area,
        ])  # fmt: skip
        self.films = np.column_stack([1.0 / problem.contact_w_m2k, 1.0 / problem.gap_w_m2k])
        count = links.area.size
        self.area, self.piece = links.area, links.piece
        self.touching = np.ones(int(links.piece.max(initial=-1)) + 1, dtype=bool)
        self.skin = np.full((self.touching.size, 3), -np.inf)
        # Whether the last flux of each link was one in contact; none was at the start.
        self.was_touching = np.zeros(count, dtype=bool)
        self.pieces = np.full(count, problem.table.lines.shape[1] - 1)
        slots = [np.unique(side, return_inverse=True) for side in self.sides]
        self.slots = np.column_stack([slots[0][1], slots[1][1] + slots[0][0].size])
        self.stiff = np.zeros(slots[0][0].size + slots[1][0].size)
        self.noted = np.full((count, 4), -np.inf)
        self.noted[:, contact.FLUX] = 0.0
        self.table = (problem.table.bounds_j_m3[0], problem.table.lines[0])
        self.levels = (problem.switch_c, zero_c)
        place, area = problem.outer
        resistance = 1.0 / problem.outer_w_m2k + 0.5 * dx / problem.die_k_w_mk
        self.outer = (place, area / (resistance * problem.die_j_m3k * dx * problem.die.volume[place]))
        self.outside = problem.outer_temp_c - zero_c
        self.outer_j_k = problem.die_j_m3k * problem.die.volume[place] * dx**3

    def fluxes(self, casting: Casting, die: Die) -> float:
        """Find the fluxes now; return the fastest relaxation of any pair of cells [1/s]."""
        state = (self.pieces, *self.table)
        contact.leave_die(*self.sides, self.geometry, self.area, self.films, self.touching, self.piece, *state,
                          *self.levels, casting.h, die.temp, self.skin)  # fmt: skip
        fastest = contact.exchange(*self.sides, self.geometry, self.films, self.touching, self.piece, *state,
                                   self.levels[1], casting.h, die.temp, self.was_touching, self.noted, self.slots,
                                   self.stiff)  # fmt: skip
        return float(fastest)

    def give(self, casting: Casting, die: Die, ahead: float, tau_s: float) -> float:
        """Set the sources of both bodies for a step; return the heat lost from the outer faces over it [J]."""
        die.source[self.outer[0]] = 0.0
        contact.spread_flux(*self.sides, self.geometry, ahead, self.noted, casting.source, die.source)
        contact.spread_outer(*self.outer, self.outside, die.temp, die.source)
        over = die.temp[self.outer[0]].astype(float) - self.outside
        return float(tau_s * np.sum(self.outer[1] * over * self.outer_j_k))


class Notes:
    """What is noted of each casting cell."""

    def __init__(self, problem: Problem, place: Places) -> None:
        self.place, self.marks, self.mark_c = place, problem.marks_j_m3, problem.mark_c
        self.stage = np.zeros(place.size, np.uint8)
        self.times = np.full((kernel.EVENTS, place.size), np.nan, np.float32)
        self.gradient, self.rate = (np.full(place.size, np.nan, np.float32) for _ in range(2))
        self.table = (problem.table.bounds_j_m3[0], problem.table.lines[0])
        self.weights = np.stack(problem.casting.weights)
        self.steps = np.append(problem.casting.strides.astype(np.int64), 1)
        # Half of what is still to be freed at the temperature of a mark may lie in the other half of the cell.
        self.reach = np.full(self.marks.size, 0.5 * float(np.diff(self.table[0][1:-1]).max()))
        self.threshold = 0.5 / float(problem.table.lines[:, :, 3].max())
        self.reheat_k = 0.0

    @property
    def all_solid(self) -> bool:
        """Whether each cell has passed the last mark."""
        return bool(self.stage.min() == kernel.EVENTS)

    def take(self, casting: Casting, start_s: float, tau_s: float) -> None:
        """Note what happened over the step just made."""
        step = casting.d1
        contact.note_events(self.place, self.steps, self.weights, step, casting.h, self.marks, self.mark_c, self.reach,
                            *self.table, start_s, tau_s, self.stage, self.times, self.gradient, self.rate)  # fmt: skip
        found = contact.largest_reheat(self.place, step, casting.h, self.threshold, *self.table)
        self.reheat_k = max(self.reheat_k, float(found))
