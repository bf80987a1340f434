"""Enthalpy, temperature and conductivity of a freezing alloy, as straight lines between knots."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castq.materials.types import Alloy

Array = NDArray[np.float64]
FAR_J_M3 = 1e300


@dataclass(frozen=True, slots=True, eq=False)
class HeatTable:
    """State of the metal against its enthalpy; enthalpy is zero where the last metal has just frozen.

    Attributes
    ----------
    bounds_j_m3 : array (runs, pieces + 1)
        Enthalpy at the ends of the pieces, the first and last far away [J/m3].
    lines : array (runs, pieces, 6)
        Intercept and slope of the heat potential [W/m, m2/s], the temperature [degC, m3 K/J] and the conductivity
        [W/mK, m2/(s K)] in each piece.
    marks_j_m3 : array (runs, 3)
        Enthalpy at coherency, feeding cut-off and end of freezing [J/m3].
    liquidus_j_m3, liquidus_w_m : array (runs,)
        Enthalpy [J/m3] and heat potential [W/m] at the liquidus.
    """

    bounds_j_m3: Array
    lines: Array
    marks_j_m3: Array
    liquidus_j_m3: Array
    liquidus_w_m: Array

    def start_j_m3(self, temp_c: Array) -> Array:
        """Return the enthalpy [J/m3] of liquid at a temperature [degC], one for each run."""
        intercept, slope = self.lines[:, -1, 2], self.lines[:, -1, 3]
        return np.asarray((temp_c - intercept) / slope)


def freezing_path(alloy: Alloy) -> tuple[Array, Array]:
    """Return temperature [degC] rising from end of freezing to liquidus, and the fraction solid [-] there."""
    temp = np.concatenate([[alloy.liquidus_c], alloy.fraction_solid_temp_c, [alloy.end_of_freezing_c]])[::-1]
    solid = np.concatenate([[0.0], alloy.fraction_solid, [1.0]])[::-1]
    fresh = np.concatenate([[True], (np.diff(temp) != 0.0) | (np.diff(solid) != 0.0)])
    return temp[fresh], solid[fresh]


def temperature_at_fraction(alloy: Alloy, fraction_solid: float) -> float:
    """Return the temperature [degC] at which a fraction solid [-] is reached."""
    temp, solid = freezing_path(alloy)
    return float(np.interp(-fraction_solid, -solid, temp))


def heat_table(alloy: Alloy, latent_heat_factor: Array, conductivity_factor: Array) -> HeatTable:
    """Return the heat table of an alloy for runs whose latent heat and conductivity differ by factors [-]."""
    temp, solid = freezing_path(alloy)
    density = alloy.density_kg_m3
    heat_capacity = alloy.cp_liquid_j_kgk + (alloy.cp_solid_j_kgk - alloy.cp_liquid_j_kgk) * solid
    conductivity = alloy.k_liquid_w_mk + (alloy.k_solid_w_mk - alloy.k_liquid_w_mk) * solid
    sensible, potential = (_integral(y, temp) for y in (density * heat_capacity, conductivity))
    latent = density * 1000.0 * alloy.latent_heat_kj_kg * latent_heat_factor[:, None]
    enthalpy = sensible + latent * (1.0 - solid)
    factor = conductivity_factor[:, None]
    lines = np.empty((latent.size, temp.size + 1, 6))
    solid_slope, liquid_slope = (1.0 / (density * cp) for cp in (alloy.cp_solid_j_kgk, alloy.cp_liquid_j_kgk))
    ends = (factor * alloy.k_solid_w_mk * solid_slope, factor * alloy.k_liquid_w_mk * liquid_slope)
    lines[:, :, 0], lines[:, :, 1] = _pieces(enthalpy, factor * potential, ends)
    lines[:, :, 2], lines[:, :, 3] = _pieces(enthalpy, temp, (solid_slope, liquid_slope))
    lines[:, :, 4], lines[:, :, 5] = _pieces(enthalpy, factor * conductivity, (0.0, 0.0))
    far = np.full_like(latent, FAR_J_M3)
    marked = np.array([alloy.coherency_fs, alloy.cutoff_fs, 1.0])
    marks = np.interp(-marked, -solid, sensible) + latent * (1.0 - marked)
    return HeatTable(np.hstack([-far, enthalpy, far]), lines, marks, enthalpy[:, -1], factor[:, 0] * potential[-1])


def _integral(values: Array, over: Array) -> Array:
    """Return the running trapezoid integral, zero at the first knot."""
    steps = 0.5 * (values[1:] + values[:-1]) * np.diff(over)
    return np.concatenate([[0.0], np.cumsum(steps)])


def _pieces(knots: Array, values: Array, end_slopes: tuple[Array | float, Array | float]) -> tuple[Array, Array]:
    """Return intercept and slope of each piece, the first and last running outward with the end slopes."""
    values = np.broadcast_to(values, knots.shape)
    slope = np.empty((knots.shape[0], knots.shape[1] + 1))
    slope[:, 1:-1] = np.diff(values) / np.diff(knots)
    slope[:, :1], slope[:, -1:] = end_slopes
    return np.hstack([values[:, :1], values]) - slope * np.hstack([knots[:, :1], knots]), slope
