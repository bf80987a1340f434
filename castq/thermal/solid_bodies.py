"""Casting and die of the solid solver: their fields, and one long step of many stages of each.

Runge-Kutta-Legendre steps of second order (Meyer, Balsara, Aslam, J. Comput. Phys. 257 (2014) 594) carry each body over
a long step with the stages its own stiffness asks for. The explicit pace is the plain reference: one stage, shortest
step.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from castq.thermal import solid_kernel as kernel
from castq.thermal.kinks import bend
from castq.thermal.lanes import zeros
from castq.thermal.solid_grid import FULL_FACE
from castq.thermal.solid_pairs import joint
from castq.thermal.solid_problem import Pace, Problem
from castq.thermal.solid_rows import Rows, rows_of

Array = NDArray[np.float64]

# Share of the longest stable step of a body.
STABLE_SHARE = 0.95


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
    first, unit = _unit_weights(stages)
    return first * tau_s, unit * np.array([1.0, 1.0, tau_s, tau_s])


@lru_cache(maxsize=256)
def _unit_weights(stages: int) -> tuple[float, Array]:
    """Return the weights of a step of length one."""
    j = np.arange(stages + 1, dtype=float)
    b = np.full(stages + 1, 1.0 / 3.0)
    b[2:] = (j[2:] ** 2 + j[2:] - 2.0) / (2.0 * j[2:] * (j[2:] + 1.0))
    first = b[1] * 4.0 / (stages**2 + stages - 2.0)
    mu = (2.0 * j[2:] - 1.0) / j[2:] * b[2:] / b[1:-1]
    nu = -(j[2:] - 1.0) / j[2:] * b[2:] / b[:-2]
    new = mu * 4.0 / (stages**2 + stages - 2.0)
    old = new * b[1:-1]
    nu[0] = 0.0
    return float(first), np.column_stack([mu, nu, new, old])


def stages_for(tau_s: float, stable_s: float) -> int:
    """Return the fewest stages that carry a step of a given length [s] stably.

    At least three, and odd: an even number would leave the fastest modes as they are.
    """
    stages = int(np.ceil(0.5 * (np.sqrt(9.0 + 16.0 * tau_s / stable_s) - 1.0)))
    return max(3, stages + 1 - stages % 2)


class Casting:
    """Fields of the casting, by packed places, and one long step of them."""

    def __init__(self, problem: Problem, pace: Pace) -> None:
        rows, real = rows_of(problem.casting), np.float32 if pace.single else np.float64
        self.explicit, self.real, self.place = pace.explicit, real, rows.active
        held = rows.volume > 0.0
        self.gain = zeros(held.size, real)
        self.gain[held] = 1.0 / (FULL_FACE * rows.volume[held] * problem.spacing_m**2)
        self.frame = (*_frame(rows, real), self.gain)
        slope, kinks, bends = bend(problem.table)
        self.curve = (real(-bends @ kinks), real(slope), tuple(real(k) for k in kinks), tuple(real(b) for b in bends))
        self.h, self.theta, self.source, self.rate, self.d1, self.d2, self.phi, self.out, self.due = (
            zeros(held.size, real) for _ in range(9)
        )
        self.h[held] = problem.start_j_m3
        # Enthalpy below which there is something to note, rise above which there is, and the blocks where there is.
        self.due[:], self.warmer, self.call = -1e30, real(1e30), np.zeros(rows.near.size // 4, bool)
        kernel.renew(self.curve, self.h, self.theta)
        spread = float(problem.table.lines[:, :, 1].max())
        self.stable_s = STABLE_SHARE * problem.spacing_m**2 / (spread * rows.stiffest())

    def advance(self, tau_s: float) -> int:
        """Carry the fields over a step; return the stages used."""
        stages, first, weights = _stages(self.explicit, tau_s, self.stable_s)
        kernel.carry_casting(*self.frame, self.source, self.real(first), weights.astype(self.real), self.curve, self.h,
                             self.theta, self.rate, self.d1, self.d2, self.phi, self.out, self.due, self.warmer,
                             self.call)  # fmt: skip
        return stages


class Die:
    """Fields of the die, by packed places, and one long step; temperatures are rises over a level near the start."""

    def __init__(self, problem: Problem, pace: Pace) -> None:
        rows, real = rows_of(problem.die), np.float32 if pace.single else np.float64
        self.explicit, self.real, self.place = pace.explicit, real, rows.active
        held = rows.volume > 0.0
        spread = problem.die_k_w_mk / problem.die_j_m3k
        self.gain = zeros(held.size, real)
        self.gain[held] = spread / (FULL_FACE * rows.volume[held] * problem.spacing_m**2)
        self.frame = (*_frame(rows, real), self.gain)
        self.zero_c = float(np.mean(problem.die_temp_c[held]))
        self.temp, self.source, self.rate, self.d1, self.d2 = (zeros(held.size, real) for _ in range(5))
        self.temp[held] = problem.die_temp_c[held] - self.zero_c
        self.start = self.temp[self.place].astype(float)
        self.stable_s = STABLE_SHARE * problem.spacing_m**2 / (spread * rows.stiffest())

    def advance(self, tau_s: float) -> int:
        """Carry the fields over a step; return the stages used."""
        stages, first, weights = _stages(self.explicit, tau_s, self.stable_s)
        kernel.carry_die(*self.frame, self.source, self.real(first), weights.astype(self.real), self.temp, self.rate,
                         self.d1, self.d2)  # fmt: skip
        return stages


def _frame(rows: Rows, real: type[np.floating]) -> tuple[Any, Any, Any, Any]:
    """Return the cells of a body as the kernels take them: planes, pairs of cells, neighbours and faces."""
    none = np.empty(0, dtype=np.int64)
    pairs = joint(rows, real) or (none, none, np.empty(0, real), none)
    return rows.planes, pairs, rows.near, rows.faces


def _stages(explicit: bool, tau_s: float, stable_s: float) -> tuple[int, float, Array]:
    """Return the number of stages of a step and their weights."""
    if explicit:
        return 1, tau_s, np.empty((0, 4))
    stages = stages_for(tau_s, stable_s)
    return stages, *stage_weights(stages, tau_s)
