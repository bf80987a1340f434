"""What happens between the long steps of the solid solver: heat through the interface, and what is noted of a cell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castq.thermal import solid_contact as contact
from castq.thermal.solid_bodies import Casting, Die
from castq.thermal.solid_problem import OUTER, Bath, Problem

Array = NDArray[np.float64]
Places = NDArray[np.int64]

# Steps after which the fastest relaxation of the interface is found anew.
RENEWAL = 16


class Interface:
    """The links between the bodies."""

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
        self.touching = np.ones(int(links.piece.max(initial=-1)) + 1)
        self.skin = np.full((self.touching.size, 3), -np.inf)
        # For which share of a step each link last touched; not at all at the start.
        self.was_touching = np.zeros(count)
        self.pieces = np.full(count, problem.table.lines.shape[1] - 1)
        slots = [np.unique(side, return_inverse=True) for side in self.sides]
        self.slots = np.column_stack([slots[0][1], slots[1][1] + slots[0][0].size])
        self.stiff = np.zeros(slots[0][0].size + slots[1][0].size)
        self.noted = np.full((count, 4), -np.inf)
        self.noted[:, contact.FLUX] = 0.0
        self.table = (problem.table.bounds_j_m3[0], problem.table.lines[0])
        self.levels = (problem.switch_c, zero_c)
        self.age, self.fastest = 0, 0.0

    def fluxes(self, casting: Casting, die: Die) -> float:
        """Find the fluxes now; return the fastest relaxation of any pair of cells [1/s]."""
        state = (self.pieces, *self.table)
        left = contact.leave_die(*self.sides, self.geometry, self.area, self.films, self.touching, self.piece, *state,
                                 *self.levels, casting.h, die.temp, self.skin)  # fmt: skip
        contact.exchange(*self.sides, self.geometry, self.films, self.touching, self.piece, *state, self.levels[1],
                         casting.h, die.temp, self.was_touching, self.noted)  # fmt: skip
        # Between partings it changes with the conductivity of the metal only.
        if left or self.age % RENEWAL == 0:
            self.fastest = float(contact.relaxation(
                self.sides[0], self.geometry, self.films, self.touching, self.piece, self.pieces, self.table[1],
                casting.h, self.slots, self.stiff,
            ))  # fmt: skip
        self.age += 1
        return self.fastest

    def give(self, casting: Casting, die: Die, ahead: float) -> None:
        """Set the sources of both bodies for a step."""
        contact.spread_flux(*self.sides, self.geometry, ahead, self.noted, casting.source, die.source)


class Baths:
    """What surrounds the bodies: the outer faces of the die, and all that is switched on and off."""

    def __init__(self, problem: Problem, zero_c: float) -> None:
        place, area = problem.outer
        air = Bath(OUTER, place, area, np.full(area.size, 0.5), problem.outer_w_m2k, problem.outer_temp_c)
        self.baths = (air, *problem.baths)
        self.table = (problem.table.bounds_j_m3[0], problem.table.lines[0])
        self.films = [_film(problem, bath, zero_c) for bath in self.baths]
        self.fastest = [max(film.stiffness(), 1e-12) for film in self.films]
        self.switches = np.unique([time for bath in self.baths for span in bath.on_s for time in span])
        self.places = {body: np.unique(np.concatenate([np.empty(0, dtype=np.int64), *(b.place for b in self.baths
                       if b.body == body)])) for body in ("die", "casting")}  # fmt: skip
        self.taken_j = np.zeros(len(self.baths))
        self.power_w = np.zeros(len(self.baths))

    def next_switch_s(self, seconds: float) -> float:
        """Return the next time at which one is switched on or off [s]."""
        later = self.switches[self.switches > seconds]
        return float(later.min(initial=np.inf))

    def stiffness(self, seconds: float) -> float:
        """Return the fastest relaxation of any cell toward those that are on [1/s]."""
        return max((fast for bath, fast in zip(self.baths, self.fastest, strict=True) if bath.is_on(seconds)),
                   default=0.0)  # fmt: skip

    def clear(self, casting: Casting, die: Die) -> None:
        """Set the sources of all cells that any of them touches to nothing."""
        casting.source[self.places["casting"]] = 0.0
        die.source[self.places["die"]] = 0.0

    def take(self, casting: Casting | None, die: Die, seconds: float, tau_s: float) -> None:
        """Add to the sources of both bodies what those that are on take over a step, and sum it.

        An empty die has no casting to take from.
        """
        for number, (bath, film) in enumerate(zip(self.baths, self.films, strict=True)):
            self.power_w[number] = 0.0
            if bath.is_on(seconds) and bath.body == "die":
                self.power_w[number] = contact.take_from_die(bath.place, film.rate, film.heat, film.outside, die.temp,
                                                             die.source)  # fmt: skip
            elif bath.is_on(seconds) and casting is not None:
                self.power_w[number] = contact.take_from_casting(
                    bath.place, film.half_m, 1.0 / bath.coefficient_w_m2k, film.share, film.heat, film.outside,
                    *self.table, casting.h, casting.source,
                )  # fmt: skip
        self.taken_j += tau_s * self.power_w

    @property
    def heat_j(self) -> dict[str, float]:
        """Heat taken by each so far [J]."""
        heat = zip(self.baths, self.taken_j, strict=True)
        return {bath.name: float(taken) for bath, taken in heat if bath.place.size}


@dataclass(frozen=True, slots=True, eq=False)
class _Film:
    """A bath on its faces: for the die the fall of temperature a second and a kelvin, for the casting area over volume.

    `heat`: heat capacity [J/K] of each cell of the die, volume [m3] of each cell of the casting.
    """

    place: Places
    rate: Array
    heat: Array
    half_m: Array
    share: Array
    outside: float

    def stiffness(self) -> float:
        """Return the fastest relaxation of any cell [1/s]."""
        cells, back = np.unique(self.place, return_inverse=True)
        return float(np.bincount(back, self.rate, minlength=cells.size).max(initial=0.0))


def _film(problem: Problem, bath: Bath, zero_c: float) -> _Film:
    """Return a bath on its faces."""
    dx, on_die = problem.spacing_m, bath.body == "die"
    volume = (problem.die if on_die else problem.casting).volume[bath.place].astype(float) * dx**3
    share = bath.area * dx**2 / volume
    half_m = bath.half * dx
    if on_die:
        between = 1.0 / bath.coefficient_w_m2k + half_m / problem.die_k_w_mk
        return _Film(bath.place, share / (between * problem.die_j_m3k), problem.die_j_m3k * volume, half_m, share,
                     bath.temp_c - zero_c)  # fmt: skip
    least_j_m3k = 1.0 / float(problem.table.lines[:, :, 3].max())
    return _Film(bath.place, share * bath.coefficient_w_m2k / least_j_m3k, volume, half_m, share, bath.temp_c)
