"""The march in time of the solid solver: long steps of many stages, casting and die each at its own pace.

While the bodies take a long step, each with its own stages, the heat through the interface is held, carried forward by
its trend; what leaves one body enters the other.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np

from castq.thermal import solid_contact as contact
from castq.thermal.solid_bodies import Casting, Die
from castq.thermal.solid_notes import Notes
from castq.thermal.solid_problem import March, Pace, Problem
from castq.thermal.solid_rows import packed
from castq.thermal.solid_surface import Baths, Interface

MOST_STEPS = 2_000_000


def march(
    problem: Problem,
    pace: Pace | None = None,
    *,
    until_s: float = np.inf,
    past_solid: bool = False,
    most_steps: int = MOST_STEPS,
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
    past_solid : bool
        Whether to go on to that time when all is solid.
    most_steps : int
        Number of long steps after which to give up [-].

    Returns
    -------
    March
        Times, gradients and the heat balance.
    """
    pace, problem = pace or Pace(), packed(problem)
    casting, die = Casting(problem, pace), Die(problem, pace)
    interface, notes, baths = Interface(problem, die.zero_c), Notes(problem, casting), Baths(problem, die.zero_c)
    seconds, tau, steps, updates = 0.0, 0.0, 0, 0
    with ThreadPoolExecutor(max_workers=1) as pool:
        while (past_solid or not notes.all_solid) and steps < most_steps and seconds < until_s:
            fastest = max(interface.fluxes(casting, die), baths.stiffness(seconds))
            before, tau = tau, _length(pace, seconds, min(casting.stable_s, die.stable_s), fastest)
            # A step ends where something is switched.
            end = min(seconds + tau, until_s, baths.next_switch_s(seconds))
            tau = end - seconds
            ahead = 0.5 * tau / before if before > 0.0 and not pace.explicit else 0.0
            baths.clear(casting, die)
            interface.give(casting, die, ahead)
            baths.take(casting, die, seconds, tau)
            stages = pool.submit(die.advance, tau)
            updates += casting.advance(tau) * casting.place.size
            notes.take(casting, seconds, tau)
            updates += stages.result() * die.place.size
            seconds = end
            steps += 1
    return _result(problem, (casting, die), interface, notes, baths, (seconds, steps, updates))


def _length(pace: Pace, seconds: float, stable_s: float, fastest: float) -> float:
    """Return the length of the next step [s]."""
    interface_s = pace.interface_share / max(fastest, 1e-12)
    if pace.explicit:
        return min(stable_s, interface_s)
    return min(pace.longest_s, max(pace.shortest_s, pace.growth * seconds), interface_s)


def _result(
    problem: Problem,
    bodies: tuple[Casting, Die],
    interface: Interface,
    notes: Notes,
    baths: Baths,
    run: tuple[float, int, int],
) -> March:
    """Return what the march leaves, with the heat balance."""
    casting, die = bodies
    voxel = problem.spacing_m**3
    enthalpy = casting.h[casting.place].astype(float)
    last = die.temp[die.place].astype(float)
    given = voxel * float(np.sum(problem.casting.volume[casting.place] * (problem.start_j_m3 - enthalpy)))
    taken = voxel * problem.die_j_m3k * float(np.sum(problem.die.volume[die.place] * (last - die.start)))
    heat = baths.heat_j
    residual = (taken + sum(heat.values()) - given) / given if given > 0.0 else 0.0
    return March(
        notes.times, notes.gradient, notes.rate, interface.noted[:, [contact.PEAK_C, contact.LATEST_C]].copy(),
        enthalpy, last - die.start, die.zero_c + last, heat, residual, notes.reheat_k, *run,
    )  # fmt: skip
