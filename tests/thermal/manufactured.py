"""Manufactured solutions for the march of the solid solver: fields chosen beforehand, and the sources that make them.

The sources are added to the source arrays of casting and die, taken in the middle of each long step. What the faults
of `tests/thermal/test_faults.py` spoil is given by `Faults`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any
from unittest import mock

import numpy as np
from numpy.typing import NDArray

from castq import materials
from castq.thermal.solid_bodies import Casting, Die
from castq.thermal.solid_grid import Region, whole_cells
from castq.thermal.solid_march import march
from castq.thermal.solid_problem import March, Pace, Problem
from castq.thermal.solid_surface import Interface
from tests.thermal.solid_cases import STEEL, without_links
from tests.thermal.test_solid_march import bar, orders, pure_metal

Array = NDArray[np.float64]
Source = Callable[[float], Array]

A356 = materials.alloy("A356")
LENGTH_M = 0.048
# Time at which the fields are compared, and of their first crest [s].
END_S, CREST_S = 8.0, 10.0


@dataclass(frozen=True)
class Faults:
    """What is spoilt: half cell at the film [voxels], instant of the sources [steps], old flux, conductivity."""

    half_cell: float = 0.5
    source_at: float = 0.5
    old_flux: bool = False
    one_sided: bool = False


NONE = Faults()


def swing(seconds: float) -> tuple[float, float]:
    """Return a swing that starts at nothing [-], and its rate [1/s]."""
    angle = 0.5 * np.pi * seconds / CREST_S
    return float(np.sin(angle)), float(0.5 * np.pi / CREST_S * np.cos(angle))


def marched(problem: Problem, sources: tuple[Source, Source], step_s: float, faults: Faults) -> March:
    """March with sources in casting [W/m3] and die [K/s] for their active cells, as they are at a time."""

    def with_source(body: type[Any], source: Source) -> Callable[[Any, float], int]:
        now, advance = [0.0], body.advance

        def advanced(self: Any, tau_s: float) -> int:
            extra = source(now[0] + faults.source_at * tau_s)
            self.source[self.place] += extra
            stages: int = advance(self, tau_s)
            self.source[self.place] -= extra
            now[0] += tau_s
            return stages

        return advanced

    give = Interface.give

    def given(self: Interface, casting: Casting, die: Die, ahead: float, *more: Any) -> Any:
        return give(self, casting, die, 0.0 if faults.old_flux else ahead, *more)

    pace = Pace(longest_s=step_s, shortest_s=step_s, single=False)
    with (
        mock.patch.object(Casting, "advance", with_source(Casting, sources[0])),
        mock.patch.object(Die, "advance", with_source(Die, sources[1])),
        mock.patch.object(Interface, "give", given),
    ):
        return march(problem, pace, until_s=END_S)


def film_off(cells: int, step_s: float, faults: Faults = NONE) -> Array:
    """Return the errors [K] in the cells of liquid metal and of the die behind it, joined by a film of 1500 W/m2K.

    Metal from 0 to L, die from L to 2L, both 700 degC at first; heat q(t) = k B n swing through the film R, n = pi/2L:
    T = 700 + (q R + B cos(n x) swing) in the metal, T = 700 - B k/k_die cos(n (x - 2L)) swing in the die.
    """
    film, wave, start_c, size = 1500.0, 60.0, 700.0, LENGTH_M / cells
    k, heat = A356.k_liquid_w_mk, A356.density_kg_m3 * A356.cp_liquid_j_kgk
    k_die, heat_die = STEEL
    number = 0.5 * np.pi / LENGTH_M
    x = size * (np.arange(cells) + 0.5)
    metal_wave, die_wave = wave * np.cos(number * x), -wave * k / k_die * np.cos(number * (x - LENGTH_M))
    over_film = k * wave * number / film
    films = {"contact_w_m2k": np.array([film]), "gap_w_m2k": np.array([film])}
    problem = bar(A356, start_c, start_c, 1e3 * size, (cells, cells), die_k_w_mk=k_die, die_j_m3k=heat_die, **films)
    problem = replace(problem, links=replace(problem.links, casting_half=np.array([faults.half_cell])))

    def in_metal(seconds: float) -> Array:
        height, rate = swing(seconds)
        return heat * rate * (over_film + metal_wave) + k * height * number**2 * metal_wave

    def in_die(seconds: float) -> Array:
        height, rate = swing(seconds)
        return die_wave * (rate + k_die / heat_die * height * number**2)

    result = marched(problem, (in_metal, in_die), step_s, faults)
    height, _ = swing(result.seconds_s)
    metal_k = (result.enthalpy_j_m3 - problem.start_j_m3) / heat - height * (over_film + metal_wave)
    return np.concatenate([metal_k, result.die_rise_k - height * die_wave])


def space_orders(faults: Faults = NONE) -> list[float]:
    """Return the orders of the rms error with finer cells, the steps so short that they shrink as the square."""
    return orders([float(np.sqrt(np.mean(film_off(cells, 5.0 / cells**2, faults) ** 2))) for cells in (8, 16, 32)])


def time_orders(faults: Faults = NONE) -> list[float]:
    """Return the orders of what halving the step changes, the cells kept."""
    fields = [film_off(16, step_s, faults) for step_s in (0.5, 0.25, 0.125, 0.0625)]
    return orders([np.abs(a - b).max() for a, b in pairwise(fields)])


METAL = pure_metal(577.0, 1e-6, (150.0, 1100.0), (65.0, 1150.0))


def _one_sided(region: Region, solid: NDArray[np.bool_]) -> Region:
    """Return the body with the heat across each face between solid and liquid by the lower cell's conductivity alone.

    With the same heat potential on either side of zero, k (T - T') is (1 + k/k') / 2 of the right flux.
    """
    k = np.where(solid, METAL.k_solid_w_mk, METAL.k_liquid_w_mk).reshape(-1)
    weights = []
    for weight, step in zip(region.weights, (*region.strides.astype(int), 1), strict=True):
        factor = 0.5 * (1.0 + k / np.roll(k, -step))
        weights.append(np.rint(weight * factor).astype(weight.dtype))
    return replace(region, weights=tuple(weights))


def two_metal_error(cells: int, faults: Faults = NONE) -> float:
    """Return the worst error of the heat potential, over its crest, in a block of which half is solid, half liquid [-].

    Conductivity 150 and 65 W/mK without latent heat; the potential is a product of cosines that swings around the
    freezing temperature, so the faces between solid and liquid stay where they are.
    """
    shape = (cells + 4,) * 3
    inside = np.zeros(shape, dtype=bool)
    inside[2:-2, 2:-2, 2:-2] = True
    apart = np.zeros(shape, dtype=bool)
    apart[0, 0, 0] = True
    place = (np.arange(cells) + 0.5) / cells
    waves = np.cos(np.pi * place)[:, None, None] * np.cos(np.pi * place)[:, None] * np.cos(2.0 * np.pi * place)
    solid = np.zeros(shape, dtype=bool)
    solid[2:-2, 2:-2, 2:-2] = waves < 0.0
    metal, wave = without_links(bar(METAL, 577.0001, 577.0, 1.0, (2, 2))), waves.reshape(-1)
    crest, spread = 3000.0, 6.0 * (np.pi / LENGTH_M) ** 2
    rise = METAL.density_kg_m3 * np.where(wave < 0.0, METAL.cp_solid_j_kgk / METAL.k_solid_w_mk,
                                          METAL.cp_liquid_j_kgk / METAL.k_liquid_w_mk)  # fmt: skip
    die = np.zeros(shape, dtype=bool)
    die[1, 1, 1] = True
    casting = whole_cells(inside)
    problem = replace(
        metal, casting=_one_sided(casting, solid) if faults.one_sided else casting, die=whole_cells(die),
        spacing_m=LENGTH_M / cells, die_temp_c=np.full(inside.size, 577.0),
    )  # fmt: skip

    def source(seconds: float) -> Array:
        height, rate = swing(seconds)
        return np.asarray(crest * wave * (rise * rate + spread * height))

    result = marched(problem, (source, lambda seconds: np.zeros(1)), 4.0 / cells, faults)
    exact = rise * crest * wave * swing(result.seconds_s)[0]
    return float(np.abs((result.enthalpy_j_m3 - problem.start_j_m3 - exact) / rise).max() / crest)
