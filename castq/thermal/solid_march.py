"""The march in time of the solid solver: long steps of many stages, casting and die each at its own pace.

Runge-Kutta-Legendre steps of second order (Meyer, Balsara, Aslam, J. Comput. Phys. 257 (2014) 594) carry each body over
a long step with the stages its own stiffness asks for, while the heat through the interface is held, carried forward by
its trend; what leaves one body enters the other. The explicit pace is the plain reference: one stage, shortest step.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from castq.thermal import solid_contact as contact
from castq.thermal import solid_kernel as kernel
from castq.thermal.heat_table import HeatTable
from castq.thermal.kinks import bend
from castq.thermal.solid_grid import FULL_FACE, Links, Region

Array = NDArray[np.float64]
Places = NDArray[np.int64]

MOST_STEPS = 2_000_000
# Share of the longest stable step of a body, and of the interface.
STABLE_SHARE = 0.95
INTERFACE_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class Pace:
    """How long the steps are.

    Attributes
    ----------
    longest_s, shortest_s : float
        Bounds of a step [s].
    growth : float
        Step as a share of the time since pouring [-].
    explicit : bool
        One stage a step, as long as it is stable: the slow reference.
    single : bool
        Single precision for the fields.
    """

    longest_s: float = 1.0
    shortest_s: float = 0.02
    growth: float = 0.02
    explicit: bool = False
    single: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """Casting, die and what is between and around them.

    Attributes
    ----------
    casting, die : Region
        The bodies.
    links : Links
        Surface between them.
    spacing_m : float
        Edge of a voxel [m].
    table : HeatTable
        The metal, one run.
    marks_j_m3 : array (EVENTS,)
        Enthalpy at liquidus, coherency, cut-off, for the gradient, and at the end of freezing [J/m3].
    mark_c : array (EVENTS,)
        Temperature at these [degC].
    start_j_m3 : float
        Enthalpy of the metal at the start [J/m3].
    switch_c : float
        Temperature of the skin at which it leaves the die [degC].
    contact_w_m2k, gap_w_m2k : array (links,)
        Interface coefficient before and after that [W/m2K].
    die_k_w_mk, die_j_m3k : float
        Conductivity and heat capacity of the die.
    die_temp_c : array (cells of the box,)
        Die at the start [degC].
    outer : tuple of int array, array
        Die cells with an outer face, and its area in voxel faces.
    outer_w_m2k, outer_temp_c : float
        Coefficient [W/m2K] and surroundings [degC] of the outer faces.
    """

    casting: Region
    die: Region
    links: Links
    spacing_m: float
    table: HeatTable
    marks_j_m3: Array
    mark_c: Array
    start_j_m3: float
    switch_c: float
    contact_w_m2k: Array
    gap_w_m2k: Array
    die_k_w_mk: float
    die_j_m3k: float
    die_temp_c: Array
    outer: tuple[Places, Array]
    outer_w_m2k: float
    outer_temp_c: float


@dataclass(slots=True, eq=False)
class March:
    """What a march leaves behind.

    Attributes
    ----------
    times_s : float32 array (EVENTS, casting cells)
        When each cell passes each mark [s]; NaN if it does not.
    gradient_k, rate_k_s : float32 array (casting cells,)
        Change of temperature over the length of a cell [K] and cooling rate [K/s] at the mark for them.
    link_c : array (links, 2)
        Highest and last temperature of the die's surface [degC].
    enthalpy_j_m3 : array (casting cells,)
        At the end.
    die_rise_k : array (die cells,)
        Rise since the start.
    residual : float
        Heat taken up by die and surroundings less heat given by the casting, over the latter [-].
    reheat_k : float
        Largest rise of a casting cell's temperature over one step [K].
    seconds_s : float
        Time at the end [s].
    steps, updates : int
        Long steps, and cell updates of both bodies.
    """

    times_s: NDArray[np.float32]
    gradient_k: NDArray[np.float32]
    rate_k_s: NDArray[np.float32]
    link_c: Array
    enthalpy_j_m3: Array
    die_rise_k: Array
    residual: float
    reheat_k: float
    seconds_s: float
    steps: int
    updates: int


def stage_weights(stages: int, tau_s: float) -> tuple[float, Array]:
    """Return the weight of the first stage and (mu, nu, new, old) of each further one, times the step.

    Parameters
    ----------
    stages : int
        Stages of the step [-].
    tau_s : float
        Length of the step [s].

    Returns
    -------
    tuple of float, array (stages - 1, 4)
        Weights [-, -, s, s]; `old` is to be used on the rate at the start with the rest of it taken out.
    """
    j = np.arange(stages + 1, dtype=float)
    b = np.full(stages + 1, 1.0 / 3.0)
    b[2:] = (j[2:] ** 2 + j[2:] - 2.0) / (2.0 * j[2:] * (j[2:] + 1.0))
    first = b[1] * 4.0 / (stages**2 + stages - 2.0)
    mu = (2.0 * j[2:] - 1.0) / j[2:] * b[2:] / b[1:-1]
    nu = -(j[2:] - 1.0) / j[2:] * b[2:] / b[:-2]
    new = mu * 4.0 / (stages**2 + stages - 2.0)
    old = new * b[1:-1]
    nu[0] = 0.0
    return first * tau_s, np.column_stack([mu, nu, new * tau_s, old * tau_s])


def stages_for(tau_s: float, stable_s: float) -> int:
    """Return the fewest stages, odd and at least three, that carry a step of a given length [s] stably."""
    stages = int(np.ceil(0.5 * (np.sqrt(9.0 + 16.0 * tau_s / stable_s) - 1.0)))
    return max(3, stages + 1 - stages % 2)


class _Casting:
    """Fields of the casting and one long step of them."""

    def __init__(self, problem: Problem, pace: Pace) -> None:
        region, real = problem.casting, np.float32 if pace.single else np.float64
        self.explicit, self.real = pace.explicit, real
        self.runs, self.strides, self.place = region.runs, region.strides, region.active
        self.frame = (self.runs, self.strides, *region.weights)
        held = region.volume > 0.0
        self.gain = np.zeros(held.size, real)
        self.gain[held] = 1.0 / (FULL_FACE * region.volume[held] * problem.spacing_m**2)
        slope, kinks, bends = bend(problem.table)
        self.curve = (real(slope), tuple(real(k) for k in kinks), tuple(real(b) for b in bends))
        self.h = np.where(held, problem.start_j_m3, 0.0).astype(real)
        self.theta = np.zeros(held.size, real)
        self.source, self.rate, self.d1, self.d2, self.phi, self.out = (np.zeros(held.size, real) for _ in range(6))
        kernel.finish_casting(self.runs, self.d1, *self.curve, self.h, self.theta)
        spread = float(problem.table.lines[:, :, 1].max())
        self.stable_s = STABLE_SHARE * problem.spacing_m**2 / (spread * region.stiffest())

    def advance(self, tau_s: float) -> int:
        """Carry the fields over a step; return the stages used."""
        stages = 1 if self.explicit else stages_for(tau_s, self.stable_s)
        first, weights = (tau_s, np.empty((0, 4))) if self.explicit else stage_weights(stages, tau_s)
        real = self.real
        kernel.carry_casting(*self.frame, self.gain, self.source, real(first), weights.astype(real), *self.curve,
                             self.h, self.theta, self.rate, self.d1, self.d2, self.phi, self.out)  # fmt: skip
        return stages


class _Die:
    """Fields of the die and one long step of them; temperatures are rises over a level near the start."""

    def __init__(self, problem: Problem, pace: Pace) -> None:
        region, real = problem.die, np.float32 if pace.single else np.float64
        self.explicit, self.real = pace.explicit, real
        self.runs, self.strides, self.place = region.runs, region.strides, region.active
        self.frame = (self.runs, self.strides, *region.weights)
        held = region.volume > 0.0
        spread = problem.die_k_w_mk / problem.die_j_m3k
        self.gain = np.zeros(held.size, real)
        self.gain[held] = spread / (FULL_FACE * region.volume[held] * problem.spacing_m**2)
        self.zero_c = float(np.mean(problem.die_temp_c[held]))
        self.temp = np.where(held, problem.die_temp_c - self.zero_c, 0.0).astype(real)
        self.start = self.temp[self.place].astype(float)
        self.source, self.rate, self.d1, self.d2 = (np.zeros(held.size, real) for _ in range(4))
        self.stable_s = STABLE_SHARE * problem.spacing_m**2 / (spread * region.stiffest())

    def advance(self, tau_s: float) -> int:
        """Carry the fields over a step; return the stages used."""
        stages = 1 if self.explicit else stages_for(tau_s, self.stable_s)
        first, weights = (tau_s, np.empty((0, 4))) if self.explicit else stage_weights(stages, tau_s)
        kernel.carry_die(*self.frame, self.gain, self.source, self.real(first), weights.astype(self.real), self.temp,
                         self.rate, self.d1, self.d2)  # fmt: skip
        return stages


class _Interface:
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

    def fluxes(self, casting: _Casting, die: _Die) -> float:
        """Find the fluxes now; return the fastest relaxation of any pair of cells [1/s]."""
        state = (self.pieces, *self.table)
        contact.leave_die(*self.sides, self.geometry, self.area, self.films, self.touching, self.piece, *state,
                          *self.levels, casting.h, die.temp, self.skin)  # fmt: skip
        fastest = contact.exchange(*self.sides, self.geometry, self.films, self.touching, self.piece, *state,
                                   self.levels[1], casting.h, die.temp, self.was_touching, self.noted, self.slots,
                                   self.stiff)  # fmt: skip
        return float(fastest)

    def give(self, casting: _Casting, die: _Die, ahead: float, tau_s: float) -> float:
        """Set the sources of both bodies for a step; return the heat lost from the outer faces over it [J]."""
        die.source[self.outer[0]] = 0.0
        contact.spread_flux(*self.sides, self.geometry, ahead, self.noted, casting.source, die.source)
        contact.spread_outer(*self.outer, self.outside, die.temp, die.source)
        over = die.temp[self.outer[0]].astype(float) - self.outside
        return float(tau_s * np.sum(self.outer[1] * over * self.outer_j_k))


class _Notes:
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

    def take(self, casting: _Casting, start_s: float, tau_s: float) -> None:
        """Note what happened over the step just made."""
        step = casting.d1
        contact.note_events(self.place, self.steps, self.weights, step, casting.h, self.marks, self.mark_c, self.reach,
                            *self.table, start_s, tau_s, self.stage, self.times, self.gradient, self.rate)  # fmt: skip
        found = contact.largest_reheat(self.place, step, casting.h, self.threshold, *self.table)
        self.reheat_k = max(self.reheat_k, float(found))


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
    casting, die = _Casting(problem, pace), _Die(problem, pace)
    interface, notes = _Interface(problem, die.zero_c), _Notes(problem, casting.place)
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
    problem: Problem, casting: _Casting, die: _Die, interface: _Interface, notes: _Notes, sums: dict[str, Any]
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
