"""The casting corner solved with general-purpose libraries, each set up as its own users would for freezing.

FiPy: finite volumes, enthalpy as a conservative source, sweeps that stop at its kinks, conjugate gradients without
preconditioner (its fastest here). scikit-fem: implicit Euler on lumped enthalpy, Newton with steps that stop at the
kinks, conjugate gradients with Jacobi's preconditioner; either elements of order 0 on the very faces of the other
solvers, or tetrahedra with nodes in the corners of the cells and two nodes wherever casting and die meet.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import block_diag, csr_array, diags_array
from scipy.sparse.linalg import cg

from tests.thermal.corner import (
    CASTING_K,
    CORNER_SHARE,
    DIE_C,
    DIE_J_M3K,
    DIE_K,
    FILM_W_M2K,
    KNOT_C,
    KNOT_J_M3,
    MELT_C,
    PIECE_J_M3K,
    SIDE_M,
    Clock,
    Corner,
    Run,
    Watch,
)

Array = NDArray[np.float64]


MOST_SWEEPS = 40
KINKS_C = KNOT_C[1:3]


def piece_ahead(temp: Array, ahead: Array) -> NDArray[np.int64]:
    """Return which straight piece of the enthalpy lies on the side to which a temperature moves."""
    return np.searchsorted(KINKS_C, temp + 1e-9 * np.sign(ahead), side="right")


def stopped(now: Array, ahead: Array, metal: NDArray[np.bool_]) -> Array:
    """Return the new temperatures, stopped at the first kink of the enthalpy that they would pass."""
    # Both ways are gone through from far to near, so that the kink met first is the one kept.
    for kink, way in zip([*KINKS_C, *KINKS_C[::-1]], (-1.0, -1.0, 1.0, 1.0), strict=True):
        passed = metal & (way * (kink - now) > 1e-9) & (way * (ahead - kink) > 0.0)
        ahead = np.where(passed, kink, ahead)
    return ahead


def solve_fipy(corner: Corner, tau_s: float = 1.0, tolerance_k: float = 0.1) -> Run:
    """FiPy's finite volumes; sweeps until no cell changes by more than a tolerance."""
    os.environ.setdefault("FIPY_SOLVERS", "scipy")
    import fipy
    from fipy.solvers.scipy import LinearCGSolver

    began = time.perf_counter()
    cells, dx = corner.cells, corner.dx
    mesh = fipy.Grid3D(dx=dx, dy=dx, dz=dx, nx=cells, ny=cells, nz=cells)
    # The problem looks alike along x, y and z, so that either order of the cells will do.
    inside = corner.casting.reshape(-1)
    beside = [np.asarray(side) for side in np.ma.filled(mesh.faceCellIDs, 0)]
    conductivity = fipy.FaceVariable(mesh=mesh, value=dx * corner.between(inside[beside[0]], inside[beside[1]]))
    start, h = corner.start()
    temp = fipy.CellVariable(mesh=mesh, value=start, hasOld=True)
    capacity, source = fipy.CellVariable(mesh=mesh), fipy.CellVariable(mesh=mesh)
    equation = fipy.TransientTerm(coeff=capacity) == fipy.DiffusionTerm(coeff=conductivity) - source
    solver = LinearCGSolver(precon=None, tolerance=1e-6, iterations=2000)
    clock, sweeps, ready = Clock(corner), 0, Watch()
    steps = round(corner.end_s / tau_s)
    for step in range(steps):
        temp.updateOld()
        old, change, ahead = temp.old.value.copy(), np.inf, np.full(start.size, -1.0)
        while change > tolerance_k and sweeps < MOST_SWEEPS * steps:
            now = temp.value.copy()
            slope = np.where(inside, PIECE_J_M3K[piece_ahead(now, ahead)], DIE_J_M3K)
            capacity.setValue(slope)
            source.setValue((corner.enthalpy(now) - h - slope * (now - old)) / tau_s)
            equation.sweep(var=temp, dt=tau_s, solver=solver)
            ahead = temp.value - now
            temp.setValue(stopped(now, temp.value, inside))
            change = float(np.abs(temp.value - now).max())
            sweeps += 1
        h = corner.enthalpy(temp.value)
        clock.note(h, step * tau_s, tau_s)
    loop_s, cpu_s = ready.read()
    return Run(f"FiPy, steps of {tau_s:g} s", temp.value[inside].copy(), clock.frozen_s, corner.residual(h), loop_s,
               cpu_s, ready.wall - began, f"{sweeps} sweeps")  # fmt: skip


@dataclass(frozen=True, eq=False)
class System:
    """Lumped heat balance of nodes: `volume` d(enthalpy)/dt = - `stiffness` temperature."""

    stiffness: csr_array
    volume: Array
    metal: NDArray[np.bool_]

    def enthalpy(self, temp: Array) -> Array:
        """Return the enthalpy of nodes [J/m3]."""
        return np.where(self.metal, np.interp(temp, KNOT_C, KNOT_J_M3), DIE_J_M3K * (temp - DIE_C))

    def capacity(self, temp: Array, ahead: Array) -> Array:
        """Return its slope on the side to which a node moves [J/m3K]."""
        return np.where(self.metal, PIECE_J_M3K[piece_ahead(temp, ahead)], DIE_J_M3K)


def march_newton(system: System, tau_s: float, end_s: float, note: Callable[[Array, float], None]) -> tuple[Array, str]:
    """Implicit Euler; Newton whose steps stop at kinks of the enthalpy until all nodes rest within 0.01 K."""
    temp = np.where(system.metal, MELT_C, DIE_C)
    stiffness, weight = system.stiffness, system.volume / tau_s
    diagonal = stiffness.diagonal()
    newtons = products = 0

    def count(_: Array) -> None:
        nonlocal products
        products += 1

    for step in range(round(end_s / tau_s)):
        h, change = system.enthalpy(temp), np.zeros(temp.size)
        for _ in range(60):
            lack = -(weight * (system.enthalpy(temp) - h) + stiffness @ temp)
            slope = weight * system.capacity(temp, lack)
            matrix = stiffness + diags_array(slope)
            jacobi = diags_array(1.0 / (diagonal + slope))
            change, _ = cg(matrix, lack, rtol=1e-6, atol=0.0, M=jacobi, maxiter=2000, callback=count)
            ahead = stopped(temp, temp + change, system.metal)
            newtons += 1
            moved, temp = float(np.abs(ahead - temp).max()), ahead
            if moved < 0.01:
                break
        note(system.enthalpy(temp), step * tau_s)
    return temp, f"{newtons} Newton steps, {products} products"


def marched(system: System, corner: Corner, tau_s: float, cells_of: Callable[[Array], Array]) -> dict[str, Any]:
    """March a system; `cells_of` turns values of the metal's nodes into those of the casting's cells."""
    clock, ready = Clock(corner), Watch()

    def note(h: Array, start_s: float) -> None:
        clock.note_casting(cells_of(h[system.metal]), start_s, tau_s)

    temp, words = march_newton(system, tau_s, corner.end_s, note)
    loop_s, cpu_s = ready.read()
    start = system.enthalpy(np.where(system.metal, MELT_C, DIE_C))
    gained = system.volume * (system.enthalpy(temp) - start)
    residual = float(gained.sum() / -gained[system.metal].sum())
    return {
        "casting_c": cells_of(temp[system.metal]), "frozen_s": clock.frozen_s, "residual": residual, "loop_s": loop_s,
        "cpu_s": cpu_s, "words": words,
    }  # fmt: skip


def solve_skfem_faces(corner: Corner, tau_s: float = 1.0) -> Run:
    """scikit-fem's hexahedra of order 0: one value a cell, heat through the faces."""
    import skfem

    began = time.perf_counter()
    line = np.linspace(0.0, SIDE_M, corner.cells + 1)
    mesh, element = skfem.MeshHex.init_tensor(line, line, line), skfem.ElementHex0()
    place = np.floor(mesh.p[:, mesh.t].mean(axis=1) / corner.dx).astype(int)
    metal = corner.casting[tuple(place)]
    sides = [skfem.InteriorFacetBasis(mesh, element, side=side, intorder=0) for side in (0, 1)]
    beside = [metal[mesh.f2t[side, sides[0].find]] for side in (0, 1)]
    conductance = np.repeat(corner.between(*beside)[:, None], sides[0].dx.shape[1], axis=1)

    @skfem.BilinearForm
    def through(u: Any, v: Any, w: Any) -> Any:
        return (1.0 if w.idx[0] == w.idx[1] else -1.0) * w.g * u * v

    stiffness = csr_array(skfem.asm(through, sides, sides, g=conductance))
    volume = np.asarray(skfem.LinearForm(lambda v, w: 1.0 * v).assemble(skfem.Basis(mesh, element, intorder=0)))
    order = np.argsort(np.ravel_multi_index(tuple(place[:, metal]), corner.casting.shape))
    setup = time.perf_counter() - began
    found = marched(System(stiffness, volume, metal), corner, tau_s, lambda values: values[order])
    return Run(f"scikit-fem, hexahedra of order 0, steps of {tau_s:g} s", setup_s=setup, **found)


def solve_skfem_tets(corner: Corner, tau_s: float = 1.0) -> Run:
    """scikit-fem's linear tetrahedra; casting and die each have their own nodes, with a film between them."""
    import skfem

    began = time.perf_counter()
    line = np.linspace(0.0, SIDE_M, corner.cells + 1)
    mesh, element = skfem.MeshTet.init_tensor(line, line, line), skfem.ElementTetP1()
    middle = np.floor(mesh.p[:, mesh.t].mean(axis=1) / corner.dx).astype(int)
    inside = corner.casting[tuple(middle)]
    parts = [mesh.restrict(np.flatnonzero(which)) for which in (inside, ~inside)]
    places = [tuple(np.rint(part.p / corner.dx).astype(int)) for part in parts]
    count = [part.p.shape[1] for part in parts]

    @skfem.BilinearForm
    def conduct(u: Any, v: Any, w: Any) -> Any:
        return w.k * (u.grad[0] * v.grad[0] + u.grad[1] * v.grad[1] + u.grad[2] * v.grad[2])

    weigh = skfem.LinearForm(lambda v, w: 1.0 * v)
    bases = [skfem.Basis(part, element) for part in parts]
    blocks = [conduct.assemble(basis, k=k) for basis, k in zip(bases, (CASTING_K, DIE_K), strict=True)]
    third = SIDE_M / CORNER_SHARE
    facets = parts[0].facets_satisfying(lambda x: np.isclose(x.max(axis=0), third), boundaries_only=True)
    film = FILM_W_M2K * np.asarray(weigh.assemble(skfem.FacetBasis(parts[0], element, facets=facets)))
    numbers = [np.full((corner.cells + 1,) * 3, -1) for _ in parts]
    for number, place, size in zip(numbers, places, count, strict=True):
        number[place] = np.arange(size)
    here = np.flatnonzero(film)
    there = count[0] + numbers[1][tuple(axis[here] for axis in places[0])]
    g = film[here]
    link = csr_array((np.concatenate([g, g, -g, -g]), (np.concatenate([here, there, here, there]),
                     np.concatenate([here, there, there, here]))), (sum(count), sum(count)))  # fmt: skip
    volume = np.concatenate([np.asarray(weigh.assemble(basis)) for basis in bases])
    system = System(csr_array(block_diag(blocks)) + link, volume, np.arange(sum(count)) < count[0])
    within = corner.cells // CORNER_SHARE
    ends = (slice(within), slice(1, within + 1))
    eight = np.stack([numbers[0][a, b, c].reshape(-1) for a in ends for b in ends for c in ends])
    setup = time.perf_counter() - began
    found = marched(system, corner, tau_s, lambda values: values[eight].mean(axis=0))
    return Run(f"scikit-fem, tetrahedra, steps of {tau_s:g} s", setup_s=setup, **found)
