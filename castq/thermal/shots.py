"""One production cycle of a die: metal in the closed die, the open die in air and spray, the closed die until the next.

The metal fills the cavity at once, at the temperature of the melt; filling only takes its time. An open die loses heat
from the faces the casting has left; closed and empty, its faces see each other and lose none. The outer faces and the
cooling circuits go on all the time, circuits by the clock that starts with pouring. Cores and other bodies with a
temperature of their own are set in anew for each shot; until then they stay where they are.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from castq.thermal.solid_bodies import Die
from castq.thermal.solid_march import march
from castq.thermal.solid_problem import Bath, March, Pace, Problem
from castq.thermal.solid_rows import packed
from castq.thermal.solid_surface import Baths
from castq.thermal.tool import Cycle

Array = NDArray[np.float64]

METAL, OPEN, SPRAY, FRESH = "metal", "air in the open die", "spray", "cores taken out"


def empty_die(
    problem: Problem, die_c: Array, from_s: float, until_s: float, pace: Pace
) -> tuple[Array, dict[str, float]]:
    """Carry a die without casting through a time.

    Parameters
    ----------
    problem : Problem
        The die and its baths; those of the casting are left out.
    die_c : array (die cells,)
        Die at the start, in the order of `problem.die.active` [degC].
    from_s, until_s : float
        Start and end, on the clock of the baths [s].
    pace : Pace
        Lengths of the steps, which grow from each switching of a bath on.

    Returns
    -------
    tuple of array, dict of str to float
        Die at the end [degC]; heat taken by each bath [J].
    """
    around = tuple(bath for bath in problem.baths if bath.body == "die")
    problem = packed(replace(started(problem, die_c), baths=around))
    die = Die(problem, pace)
    baths = Baths(problem, die.zero_c)
    seconds, since = from_s, from_s
    while seconds < until_s:
        length = min(pace.longest_s, max(pace.shortest_s, pace.growth * (seconds - since)))
        switch = baths.next_switch_s(seconds)
        end = min(seconds + min(length, pace.interface_share / max(baths.stiffness(seconds), 1e-12)), until_s, switch)
        die.source[baths.places["die"]] = 0.0
        baths.take(None, die, seconds, end - seconds)
        die.advance(end - seconds)
        since = end if end == switch else since
        seconds = end
    return die.zero_c + die.temp[die.place].astype(float), baths.heat_j


def started(problem: Problem, die_c: Array) -> Problem:
    """Return the problem with another die temperature at the start.

    Parameters
    ----------
    problem : Problem
        What the march solves.
    die_c : array (die cells,)
        Die, in the order of `problem.die.active` [degC].

    Returns
    -------
    Problem
        The same but for that.
    """
    field = problem.die_temp_c.copy()
    field[problem.die.active] = die_c
    return replace(problem, die_temp_c=field)


class Shots:
    """Cycle after cycle of one die.

    Attributes
    ----------
    heat_j : dict of str to float
        Heat of the last cycle: taken by each bath, and given by the metal [J].
    shot : March or None
        The last cycle until the die opened.
    """

    def __init__(self, problem: Problem, cycle: Cycle, pace: Pace, fresh: NDArray[np.int64] | None = None) -> None:
        """Take the casting in its die, its cycle and steps, and the die cells set in anew for each shot."""
        self.problem, self.cycle, self.pace = problem, cycle, pace
        self.fresh = np.empty(0, dtype=np.int64) if fresh is None else fresh
        self.fresh_c = problem.die_temp_c[problem.die.active[self.fresh]]
        self.heat_j: dict[str, float] = {}
        self.shot: March | None = None
        links, opens = problem.links, cycle.closed_s
        sprays, closes = opens + cycle.open_s, opens + cycle.open_s + cycle.spray_s
        films = ((OPEN, cycle.open_w_m2k, cycle.air_temp_c, (opens, sprays)),
                 (SPRAY, cycle.spray_w_m2k, cycle.spray_temp_c, (sprays, closes)))  # fmt: skip
        cavity = (Bath(name, links.die, links.area, links.die_half, film, temp, (span,))
                  for name, film, temp, span in films)  # fmt: skip
        self.empty = replace(problem, baths=(*problem.baths, *cavity))
        self.at_surface = np.searchsorted(problem.die.active, links.die)

    def turn(self, die_c: Array) -> Array:
        """Return the die at the start of the next shot from that at the start of one [degC].

        Parameters
        ----------
        die_c : array (die cells,)
            Die at the start of a shot [degC].

        Returns
        -------
        array (die cells,)
            One cycle later [degC].
        """
        opens, problem = self.cycle.closed_s, self.problem
        shot = march(started(problem, die_c), self.pace, until_s=opens, past_solid=True)
        after, heat = empty_die(self.empty, shot.die_c, opens, self.cycle.length_s, self.pace)
        held = problem.casting.volume[problem.casting.active]
        given = problem.spacing_m**3 * float(np.sum(held * (problem.start_j_m3 - shot.enthalpy_j_m3)))
        self.heat_j = {name: shot.baths_j.get(name, 0.0) + heat.get(name, 0.0) for name in {**shot.baths_j, **heat}}
        if self.fresh.size:
            held = problem.die.volume[problem.die.active[self.fresh]]
            warmed = problem.die_j_m3k * held * (after[self.fresh] - self.fresh_c)
            self.heat_j[FRESH] = problem.spacing_m**3 * float(np.sum(warmed))
            after[self.fresh] = self.fresh_c
        self.heat_j[METAL] = given
        self.shot = shot
        return after

    @property
    def imbalance(self) -> float:
        """Heat taken from the die over the last cycle less that given by the metal, over the latter [-]."""
        taken = sum(heat for name, heat in self.heat_j.items() if name != METAL)
        return taken / self.heat_j[METAL] - 1.0

    def surface_c(self, die_c: Array) -> Array:
        """Return the die's surface at each link when it is empty and at rest [degC].

        Parameters
        ----------
        die_c : array (die cells,)
            The die [degC].

        Returns
        -------
        array (links,)
            Temperature [degC].
        """
        return np.asarray(die_c[self.at_surface])

    def mean_surface_c(self, die_c: Array) -> float:
        """Return the mean over the surface of the empty die [degC].

        Parameters
        ----------
        die_c : array (die cells,)
            The die [degC].

        Returns
        -------
        float
            Temperature [degC].
        """
        return float(np.average(self.surface_c(die_c), weights=self.problem.links.area))

    @property
    def range_c(self) -> tuple[float, float]:
        """Coldest and hottest that any place of the die can become [degC]."""
        problem, line = self.problem, self.problem.table.lines[0, -1]
        cold = [problem.outer_temp_c, *(bath.temp_c for bath in self.empty.baths)]
        start = problem.die_temp_c[problem.die.active]
        return min(*cold, float(start.min())), float(line[2] + line[3] * problem.start_j_m3)


def warm_up(shots: Shots, steady_c: Array, tolerance_k: float, most: int) -> tuple[Array, bool]:
    """Run natural cycles from the start until the die is near its steady state.

    Parameters
    ----------
    shots : Shots
        The cycle.
    steady_c : array (die cells,)
        The steady state at the start of a shot [degC].
    tolerance_k : float
        How near any place has to come [K].
    most : int
        Cycles after which to stop [-].

    Returns
    -------
    tuple of array (shots,), bool
        Mean surface of the die at the start of each shot, the first that is near the last of them [degC]; whether it
        came near.
    """
    die_c = shots.problem.die_temp_c[shots.problem.die.active].astype(float)
    curve = [shots.mean_surface_c(die_c)]
    while len(curve) <= most:
        if np.abs(die_c - steady_c).max() <= tolerance_k:
            return np.array(curve), True
        die_c = shots.turn(die_c)
        curve.append(shots.mean_surface_c(die_c))
    return np.array(curve), False
