"""Casting and die of the solid solver: their fields, and one long step of many stages of each.

Runge-Kutta-Legendre steps of second order (Meyer, Balsara, Aslam, J. Comput. Phys. 257 (2014) 594) carry each body over
a long step with the stages its own stiffness asks for. The explicit pace is the plain reference: one stage, shortest
step.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from castq.thermal import solid_kernel as kernel
from castq.thermal.kinks import bend
from castq.thermal.solid_grid import FULL_FACE
from castq.thermal.solid_problem import Pace, Problem

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


class Casting:
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


class Die:
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
