"""Freezing times in closed form, and the one definition of cooling rate that castq uses."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import EXACT, Band, relation

Array = NDArray[np.float64]

NEWTON_STEPS = 60
NEWTON_TOLERANCE = 1e-14


@relation(
    id="chvorinov-time",
    title="Freezing time from the modulus, Chvorinov's rule",
    source="Chvorinov 1940, Die Giesserei 27:177-186; in steel dies the exponent is nearer 1.2 to 1.3 than 2",
    provenance="memory",
    band=Band("relative", 0.2, "constant fitted to the same mould"),
)
def chvorinov_time(modulus_mm: ArrayLike, mould_constant: ArrayLike, exponent: ArrayLike = 2.0) -> Array:
    """Return the freezing time B M^n.

    Parameters
    ----------
    modulus_mm : array_like
        Volume over cooled surface [mm].
    mould_constant : array_like
        Constant B of the mould [s/mm^n].
    exponent : array_like
        Exponent n [-]: 2 in sand, near 1 where the interface limits the heat flow.

    Returns
    -------
    array
        Freezing time [s].

    Notes
    -----
    The constant belongs to its exponent; one fitted with another exponent has another unit.
    """
    return np.asarray(mould_constant, dtype=float) * np.asarray(modulus_mm, dtype=float) ** np.asarray(
        exponent, dtype=float
    )


@relation(
    id="sand-mould-constant",
    title="Chvorinov constant of a mould that takes all the heat by conduction",
    source="semi-infinite mould at the freezing temperature of the metal: Flemings, Solidification Processing, 1974",
    provenance="memory",
    band=Band("relative", 0.15, "effusivity of the sand"),
)
def sand_mould_constant(
    heat_kj_kg: ArrayLike,
    mould_effusivity: ArrayLike,
    freezing_temp_c: ArrayLike,
    mould_temp_c: ArrayLike = 25.0,
    density_kg_m3: ArrayLike = 2400.0,
) -> Array:
    """Return the constant B of t = B M^2 for a plain wall.

    Parameters
    ----------
    heat_kj_kg : array_like
        Heat the mould takes up for each mass of metal: latent heat, and superheat times heat capacity [kJ/kg].
    mould_effusivity : array_like
        Root of conductivity x density x heat capacity of the mould [W s^0.5/m2K].
    freezing_temp_c, mould_temp_c : array_like
        Temperature of the mould face while the metal freezes, and of the mould at the start [degC].
    density_kg_m3 : array_like
        Density of the metal [kg/m3].

    Returns
    -------
    array
        Constant for exponent 2 and modulus in mm [s/mm^2].
    """
    step = np.asarray(freezing_temp_c, dtype=float) - np.asarray(mould_temp_c, dtype=float)
    heat = 1e3 * np.asarray(heat_kj_kg, dtype=float) * np.asarray(density_kg_m3, dtype=float)
    return 1e-6 * np.pi / 4.0 * (heat / (step * np.asarray(mould_effusivity, dtype=float))) ** 2


@relation(
    id="interface-limited-time",
    title="Freezing time when the interface alone limits the heat flow",
    source="heat balance of a section of even temperature in a die of constant temperature",
    provenance="derived",
    band=Band("factor", 1.6, "low by 1.6 to 2 against the transient solution, as the die heats up"),
)
def interface_limited_time(
    modulus_mm: ArrayLike,
    heat_kj_kg: ArrayLike,
    interface_w_m2k: ArrayLike,
    freezing_temp_c: ArrayLike,
    die_temp_c: ArrayLike,
    *,
    density_kg_m3: ArrayLike = 2400.0,
) -> Array:
    """Return the freezing time, linear in the modulus.

    Parameters
    ----------
    modulus_mm : array_like
        Volume over cooled surface [mm]; half the wall of a plate cooled from both sides.
    heat_kj_kg : array_like
        Heat given up: latent heat, and superheat times heat capacity [kJ/kg].
    interface_w_m2k : array_like
        Interface coefficient [W/m2K].
    freezing_temp_c, die_temp_c : array_like
        Freezing temperature, and die temperature taken as constant [degC].
    density_kg_m3 : array_like
        Density of the metal [kg/m3].

    Returns
    -------
    array
        Freezing time [s].
    """
    step = np.asarray(freezing_temp_c, dtype=float) - np.asarray(die_temp_c, dtype=float)
    heat = np.asarray(heat_kj_kg, dtype=float) * np.asarray(density_kg_m3, dtype=float)
    return heat * np.asarray(modulus_mm, dtype=float) / (np.asarray(interface_w_m2k, dtype=float) * step)


@relation(
    id="adams-time",
    title="Freezing time with interface and conduction through the frozen shell",
    source="quasi-steady shell after Adams, in Liquid Metals and Solidification, ASM 1958",
    provenance="memory",
    band=Band("relative", 0.1, "sensible heat of the shell left out"),
)
def adams_time(
    modulus_mm: ArrayLike,
    heat_kj_kg: ArrayLike,
    interface_w_m2k: ArrayLike,
    temperature_step_k: ArrayLike,
    k_solid_w_mk: ArrayLike = 150.0,
    *,
    density_kg_m3: ArrayLike = 2550.0,
) -> Array:
    """Return the time until a shell as thick as the modulus is frozen.

    Parameters
    ----------
    modulus_mm : array_like
        Shell thickness, half the wall of a plate [mm].
    heat_kj_kg : array_like
        Heat given up [kJ/kg].
    interface_w_m2k : array_like
        Interface coefficient [W/m2K].
    temperature_step_k : array_like
        Freezing temperature less that of the die [K].
    k_solid_w_mk : array_like
        Conductivity of the frozen shell [W/mK].
    density_kg_m3 : array_like
        Density of the metal [kg/m3].

    Returns
    -------
    array
        Freezing time [s].
    """
    shell = 1e-3 * np.asarray(modulus_mm, dtype=float)
    flow = 1e3 * np.asarray(heat_kj_kg, dtype=float) * np.asarray(density_kg_m3, dtype=float)
    resistance = shell / np.asarray(interface_w_m2k, dtype=float) + shell**2 / (
        2.0 * np.asarray(k_solid_w_mk, dtype=float)
    )
    return flow / np.asarray(temperature_step_k, dtype=float) * resistance


@relation(
    id="heating-die-time",
    title="Freezing time in a die that heats up",
    source="section of even temperature, interface in series with a semi-infinite die whose resistance grows with the "
    "root of time",
    provenance="derived",
    band=Band("relative", 0.1, "-13 to +2 % against the transient wall solution at constant interface coefficient"),
    valid={"modulus_mm": (1.5, 20.0)},
    closure=True,
)
def heating_die_time(
    modulus_mm: ArrayLike,
    heat_kj_kg: ArrayLike,
    interface_w_m2k: ArrayLike,
    temperature_step_k: ArrayLike,
    die_effusivity: ArrayLike = 10800.0,
    *,
    density_kg_m3: ArrayLike = 2450.0,
) -> Array:
    """Return the freezing time of a section in a die that heats up.

    Parameters
    ----------
    modulus_mm : array_like
        Volume over cooled surface [mm].
    heat_kj_kg : array_like
        Heat given up from pouring to solid [kJ/kg].
    interface_w_m2k : array_like
        Interface coefficient, constant [W/m2K].
    temperature_step_k : array_like
        Freezing temperature less that of the die at the start [K].
    die_effusivity : array_like
        Root of conductivity x density x heat capacity of the die [W s^0.5/m2K].
    density_kg_m3 : array_like
        Density of the metal [kg/m3].

    Returns
    -------
    array
        Freezing time [s].

    Notes
    -----
    With a = 1/h, b = 2/(sqrt(pi) e), y = b sqrt(t)/a the heat balance reads y - ln(1 + y) = q b^2/(2 a), where q is
    the heat to be removed over the temperature step. The die face is taken under a flux that falls slowly, as behind a
    film; not for sand, where the mould alone limits the flow and the time would come out 2.5 times low. Newton's
    iteration starts above the root of this convex function, so it falls to it without overshoot.
    """
    heat = np.asarray(heat_kj_kg, dtype=float) * np.asarray(density_kg_m3, dtype=float)
    need = heat * np.asarray(modulus_mm, dtype=float) / np.asarray(temperature_step_k, dtype=float)
    die = 2.0 / (np.sqrt(np.pi) * np.asarray(die_effusivity, dtype=float))
    film = np.asarray(interface_w_m2k, dtype=float)
    level = 0.5 * need * die**2 * film
    root = level + np.sqrt(2.0 * level)
    for _ in range(NEWTON_STEPS):
        step = (root - np.log1p(root) - level) * (1.0 + root) / root
        root = root - step
        if np.all(np.abs(step) <= NEWTON_TOLERANCE * root):
            break
    return (root / (die * film)) ** 2


@relation(
    id="lumped-cooling-time",
    title="Cooling time of a section of even temperature in a die of constant temperature",
    source="Newtonian cooling, closed form",
    provenance="derived",
    band=EXACT,
)
def lumped_cooling_time(
    modulus_mm: ArrayLike,
    heat_capacity_j_kgk: ArrayLike,
    interface_w_m2k: ArrayLike,
    above_start_k: ArrayLike,
    above_end_k: ArrayLike,
    *,
    density_kg_m3: ArrayLike = 2400.0,
) -> Array:
    """Return the time to cool from one temperature to another.

    Parameters
    ----------
    modulus_mm : array_like
        Volume over cooled surface [mm].
    heat_capacity_j_kgk : array_like
        Heat capacity; in the freezing range latent heat over range plus heat capacity [J/kgK].
    interface_w_m2k : array_like
        Interface coefficient [W/m2K].
    above_start_k, above_end_k : array_like
        Metal temperature less die temperature at the start and the end [K].
    density_kg_m3 : array_like
        Density of the metal [kg/m3].

    Returns
    -------
    array
        Time [s].

    Notes
    -----
    Holds while interface_w_m2k x modulus over the metal's conductivity is well below 1.
    """
    heat = np.asarray(heat_capacity_j_kgk, dtype=float) * np.asarray(density_kg_m3, dtype=float)
    constant = 1e-3 * heat * np.asarray(modulus_mm, dtype=float) / np.asarray(interface_w_m2k, dtype=float)
    return constant * np.log(np.asarray(above_start_k, dtype=float) / np.asarray(above_end_k, dtype=float))


@relation(
    id="mean-cooling-rate",
    title="Mean cooling rate through the freezing range",
    source="definition: freezing range over local solidification time",
    provenance="derived",
    band=EXACT,
)
def mean_cooling_rate(freezing_range_k: ArrayLike, local_solidification_time_s: ArrayLike) -> Array:
    """Return the mean cooling rate through the freezing range.

    Parameters
    ----------
    freezing_range_k : array_like
        Liquidus less end of freezing [K].
    local_solidification_time_s : array_like
        Time from liquidus to end of freezing [s].

    Returns
    -------
    array
        Mean cooling rate [K/s].

    Notes
    -----
    Papers also give the rate in the liquid at the liquidus, which can be several times larger because latent heat
    slows the cooling, or the rate at the end of freezing. The three are never mixed here: every cooling rate in
    castq is this mean.
    """
    return np.asarray(freezing_range_k, dtype=float) / np.asarray(local_solidification_time_s, dtype=float)


@relation(
    id="local-solidification-time-from-rate",
    title="Local solidification time from the mean cooling rate",
    source="definition: freezing range over mean cooling rate",
    provenance="derived",
    band=EXACT,
)
def local_solidification_time(freezing_range_k: ArrayLike, mean_cooling_rate_k_s: ArrayLike) -> Array:
    """Return the local solidification time that belongs to a mean cooling rate.

    Parameters
    ----------
    freezing_range_k : array_like
        Liquidus less end of freezing [K].
    mean_cooling_rate_k_s : array_like
        Mean rate through the freezing range [K/s].

    Returns
    -------
    array
        Time from liquidus to end of freezing [s].

    Notes
    -----
    Not for a rate taken at the liquidus or at the end of freezing; see `mean_cooling_rate`.
    """
    return np.asarray(freezing_range_k, dtype=float) / np.asarray(mean_cooling_rate_k_s, dtype=float)
