"""The march in time of the solid solver: long steps of many stages, casting and die each at its own pace.

While the bodies take a long step, each with its own stages, the heat through the interface is held, carried forward by
its trend; what leaves one body enters the other.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np

from castq.thermal import solid_contact as contact
from castq.thermal.solid_bodies import Casting, Die
from castq.thermal.solid_problem import March, Pace, Problem
from castq.thermal.solid_surface import Interface, Notes

MOST_STEPS = 2_000_000
# Share of the fastest relaxation of the interface that a step may last.
INTERFACE_SHARE = 0.5


def march(
    problem: Problem, pace: Pace | None = None, *, until_s: float = np.inf, most_steps: int = MOST_STEPS
) -> March:
    """Cool the casting until all of it is solid, or up to a time.

    Parameters
    ----------
    problem : Problem
        Casting, die and surroundings.
    pace : Pace, optional
        Lengths of the steps; the default is accurate to a few tenths of a percent.
    until_s : float
        Time at which to stop in any case [s].
    most_steps : int
        Number of long steps after which to give up [-].

    Returns
    -------
    March
        Times, gradients and the heat balance.
    """
    pace = pace or Pace()
    casting, die = Casting(problem, pace), Die(problem, pace)
    interface, notes = Interface(problem, die.zero_c), Notes(problem, casting.place)
    seconds, tau, lost, steps, updates = 0.0, 0.0, 0.0, 0, 0
    with ThreadPoolExecutor(max_workers=1) as pool:
        while not notes.all_solid and steps < most_steps and seconds < until_s:
            fastest = interface.fluxes(casting, die)
            before, tau = tau, _length(pace, seconds, min(casting.stable_s, die.stable_s), fastest)
            tau = min(tau, until_s - seconds)
            ahead = 0.5 * tau / before if before > 0.0 and not pace.explicit else 0.0
            lost += interface.give(casting, die, ahead, tau)
            stages = pool.submit(die.advance, tau)
            updates += casting.advance(tau) * casting.place.size
            notes.take(casting, seconds, tau)
            updates += stages.result() * die.place.size
            seconds += tau
            steps += 1
    return _result(problem, casting, die, interface, notes, {"lost": lost, "seconds": seconds, "steps": steps,
                                                             "updates": updates})  # fmt: skip


def _length(pace: Pace, seconds: float, stable_s: float, fastest: float) -> float:
    """Return the length of the next step [s]."""
    interface_s = INTERFACE_SHARE / max(fastest, 1e-12)
    if pace.explicit:
        return min(stable_s, interface_s)
    return min(pace.longest_s, max(pace.shortest_s, pace.growth * seconds), interface_s)


def _result(
    problem: Problem, casting: Casting, die: Die, interface: Interface, notes: Notes, sums: dict[str, Any]
) -> March:
    """Return what the march leaves, with the heat balance."""
    voxel = problem.spacing_m**3
    enthalpy = casting.h[casting.place].astype(float)
    rise = die.temp[die.place].astype(float) - die.start
    given = voxel * float(np.sum(problem.casting.volume[casting.place] * (problem.start_j_m3 - enthalpy)))
    taken = voxel * problem.die_j_m3k * float(np.sum(problem.die.volume[die.place] * rise))
    residual = (taken + sums["lost"] - given) / given if given > 0.0 else 0.0
    return March(
        notes.times, notes.gradient, notes.rate, interface.noted[:, [contact.PEAK_C, contact.LATEST_C]].copy(),
        enthalpy, rise, residual, notes.reheat_k, sums["seconds"], sums["steps"], sums["updates"],
    )  # fmt: skip
