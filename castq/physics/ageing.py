"""Heat treatment of Al-Si-Mg castings: magnesium in solution, time to peak, ageing curve, quench, homogenisation."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import EXACT, Band, relation

GAS_CONSTANT_J_MOL_K = 8.314462618
ZERO_CELSIUS_K = 273.15
# Width of the solute build-up in the ageing curve; this value puts the maximum of the curve at the peak time.
SHAPE_WIDTH = 0.34267
SHAPE_AT_PEAK = float(np.sqrt(-np.expm1(-1.0 / SHAPE_WIDTH)))
# Yield strength without magnesium [MPa], and what magnesium in solution adds as quenched at 0.35 wt% [MPa].
MATRIX_MPA = 65.0
SOLUTE_MPA = 45.0
SOLUTE_REFERENCE_WT_PCT = 0.35
PEAK_MPA_PER_SQRT_WT_PCT = 270.0


@relation(
    id="magnesium-in-solution",
    title="Magnesium in solution after the solution treatment",
    source="solubility of about 0.55 wt% after 6 h in Al-7Si-0.8Mg, Mater. Sci. Forum 877 (2017) 73",
    provenance="read",
    band=Band("relative", 0.05, "one alloy, one treatment"),
    valid={"magnesium_wt_pct": (0.0, 0.8)},
)
def magnesium_in_solution(magnesium_wt_pct: ArrayLike, solubility_wt_pct: ArrayLike = 0.55) -> NDArray[np.float64]:
    """Return the magnesium that can harden: all of it up to the solubility.

    Parameters
    ----------
    magnesium_wt_pct : array_like
        Magnesium of the alloy [wt%].
    solubility_wt_pct : array_like
        Most that dissolves with 7 % silicon at 540 degC [wt%].

    Returns
    -------
    array
        Magnesium in solution [wt%].

    Notes
    -----
    Strength follows magnesium in solution, not in bulk: the iron-bearing pi phase holds part of it above about
    0.5 wt%. A solution treatment shorter than `homogenisation_time` dissolves less.
    """
    return np.asarray(np.minimum(np.asarray(magnesium_wt_pct, dtype=float), np.asarray(solubility_wt_pct, dtype=float)))


@relation(
    id="ageing-time-to-peak",
    title="Time to peak hardness in artificial ageing",
    source="through 6 h at 170 degC of A356; apparent activation energy 85 kJ/mol chosen between 66-70 of published "
    "schedules and about 130 of Rometsch and Schaffer, Mater. Sci. Eng. A 325 (2002) 424",
    provenance="derived",
    band=Band("factor", 1.3, "spread of published schedules, 150-200 degC"),
    valid={"ageing_temp_c": (150.0, 200.0)},
    closure=True,
)
def time_to_peak(ageing_temp_c: ArrayLike, activation_kj_mol: ArrayLike = 85.0) -> NDArray[np.float64]:
    """Return the ageing time that gives peak strength.

    Parameters
    ----------
    ageing_temp_c : array_like
        Ageing temperature [degC].
    activation_kj_mol : array_like
        Apparent activation energy [kJ/mol].

    Returns
    -------
    array
        Time to peak [h].

    Notes
    -----
    Metal temperature, not oven setting; the heating-up time counts little. Prior natural ageing is not seen.
    """
    inverse = 1.0 / (np.asarray(ageing_temp_c, dtype=float) + ZERO_CELSIUS_K) - 1.0 / (170.0 + ZERO_CELSIUS_K)
    return 6.0 * np.exp(np.asarray(activation_kj_mol, dtype=float) * 1e3 / GAS_CONSTANT_J_MOL_K * inverse)


def reduced_ageing_time(ageing_time_h: ArrayLike, ageing_temp_c: ArrayLike) -> NDArray[np.float64]:
    """Return the ageing time over the time to peak at that temperature.

    Parameters
    ----------
    ageing_time_h : array_like
        Ageing time [h].
    ageing_temp_c : array_like
        Ageing temperature [degC].

    Returns
    -------
    array
        Reduced time, 1 at peak [-].
    """
    return np.asarray(np.asarray(ageing_time_h, dtype=float) / time_to_peak(ageing_temp_c))


@relation(
    id="ageing-curve-shape",
    title="Precipitate strength along the ageing curve, as a share of its peak",
    source="form of Shercliff and Ashby, Acta Metall. Mater. 38 (1990) 1789; width set to peak at reduced time 1",
    provenance="memory",
    band=Band("relative", 0.05, "up to reduced time 3; ±25 MPa beyond"),
    valid={"reduced_time": (0.0, 3.0)},
)
def ageing_curve_shape(reduced_time: ArrayLike) -> NDArray[np.float64]:
    """Return the share of the peak precipitate strength.

    Parameters
    ----------
    reduced_time : array_like
        Ageing time over time to peak [-].

    Returns
    -------
    array
        Share, 0 as quenched and 1 at peak [-].
    """
    u = np.asarray(reduced_time, dtype=float)
    root = np.sqrt(u)
    return np.asarray(np.sqrt(-np.expm1(-u / SHAPE_WIDTH)) * (2.0 / SHAPE_AT_PEAK) * np.cbrt(root) / (1.0 + root))


@relation(
    id="yield-peak-aged-magnesium",
    title="Yield strength at peak ageing from magnesium in solution",
    source="square-root form after Shercliff and Ashby, Acta Metall. Mater. 38 (1990) 1789; constants through A356 and "
    "A357 rows of EN 1706 and supplier data sheets; holds at 30 um SDAS and 30 K/s quench",
    provenance="derived",
    band=Band("absolute", 12.0, "MPa", "published T6 rows"),
    valid={"magnesium_wt_pct": (0.2, 0.55)},
)
def yield_peak_aged(magnesium_wt_pct: ArrayLike) -> NDArray[np.float64]:
    """Return the peak-aged yield strength.

    Parameters
    ----------
    magnesium_wt_pct : array_like
        Magnesium in solution [wt%].

    Returns
    -------
    array
        0.2 % proof stress [MPa].
    """
    return np.asarray(MATRIX_MPA + PEAK_MPA_PER_SQRT_WT_PCT * np.sqrt(np.asarray(magnesium_wt_pct, dtype=float)))


@relation(
    id="yield-ageing-curve",
    title="Yield strength along the ageing curve",
    source="form of Shercliff and Ashby, Acta Metall. Mater. 38 (1990) 1789; as-quenched level 110 MPa at 0.35 % Mg",
    provenance="derived",
    band=Band("absolute", 12.0, "MPa", "to reduced time 3; ±25 beyond"),
    valid={"magnesium_wt_pct": (0.2, 0.55), "reduced_time": (0.0, 3.0)},
)
def yield_aged(magnesium_wt_pct: ArrayLike, reduced_time: ArrayLike = 1.0) -> NDArray[np.float64]:
    """Return the yield strength after ageing.

    Parameters
    ----------
    magnesium_wt_pct : array_like
        Magnesium in solution [wt%].
    reduced_time : array_like
        Ageing time over time to peak [-].

    Returns
    -------
    array
        0.2 % proof stress at 30 um SDAS and 30 K/s quench [MPa].

    Notes
    -----
    Matrix + solute, which the precipitates use up, + precipitates. Their sum is highest a little before reduced
    time 1 (by 1 %), where the precipitate part alone is highest.
    """
    magnesium = np.asarray(magnesium_wt_pct, dtype=float)
    share = np.asarray(reduced_time, dtype=float) * (2.0 / (3.0 * SHAPE_WIDTH))
    solute = SOLUTE_MPA * np.cbrt(magnesium / SOLUTE_REFERENCE_WT_PCT) ** 2
    left_at_peak = solute * np.exp(-2.0 / (3.0 * SHAPE_WIDTH))
    precipitates = yield_peak_aged(magnesium) - MATRIX_MPA - left_at_peak
    return np.asarray(MATRIX_MPA + solute * np.exp(-share) + precipitates * ageing_curve_shape(reduced_time))


@relation(
    id="quench-strength-change",
    title="Change of peak-aged strength with quench rate",
    source="32 to 33 MPa a decade for Al-7Si-0.4Mg, Zhang and Zheng, Metall. Mater. Trans. A 27 (1996); 30 K/s zero",
    provenance="read",
    band=Band("absolute", 5.0, "MPa", "one alloy"),
    valid={"quench_rate_k_s": (0.5, 250.0)},
)
def quench_strength_change(
    quench_rate_k_s: ArrayLike, per_decade_mpa: ArrayLike = 32.5, reference_k_s: ArrayLike = 30.0
) -> NDArray[np.float64]:
    """Return what the quench adds to yield and tensile strength at peak ageing.

    Parameters
    ----------
    quench_rate_k_s : array_like
        Mean cooling rate of the quench [K/s].
    per_decade_mpa : array_like
        Strength gained for ten times the rate [MPa].
    reference_k_s : array_like
        Rate at which the change is zero [K/s].

    Returns
    -------
    array
        Change of strength [MPa].
    """
    rate = np.asarray(quench_rate_k_s, dtype=float) / np.asarray(reference_k_s, dtype=float)
    return np.asarray(np.asarray(per_decade_mpa, dtype=float) * np.log10(rate))


@relation(
    id="magnesium-diffusivity",
    title="Diffusivity of magnesium in aluminium",
    source="Rothman et al., 1.24e-4 m2/s and 130.4 kJ/mol",
    provenance="memory",
    band=Band("relative", 0.15, "tracer measurements"),
    valid={"temp_c": (390.0, 650.0)},
)
def magnesium_diffusivity(temp_c: ArrayLike) -> NDArray[np.float64]:
    """Return the diffusivity of magnesium in solid aluminium.

    Parameters
    ----------
    temp_c : array_like
        Temperature [degC].

    Returns
    -------
    array
        Diffusivity [m2/s].
    """
    kelvin = np.asarray(temp_c, dtype=float) + ZERO_CELSIUS_K
    return 1.24e-4 * np.exp(-130.4e3 / (GAS_CONSTANT_J_MOL_K * kelvin))


@relation(
    id="homogenisation-time",
    title="Time to even out magnesium across a dendrite arm",
    source="decay of a cosine segregation profile to 1 %, t = ln(100) L^2/(4 pi^2 D), L the arm spacing",
    provenance="derived",
    band=EXACT,
    valid={"sdas_um": (12.0, 90.0), "solution_temp_c": (500.0, 560.0)},
)
def homogenisation_time(
    sdas_um: ArrayLike, solution_temp_c: ArrayLike = 540.0, residual: ArrayLike = 0.01
) -> NDArray[np.float64]:
    """Return the solution time after which the stated share of the segregation is left.

    Parameters
    ----------
    sdas_um : array_like
        Secondary dendrite arm spacing [um].
    solution_temp_c : array_like
        Solution temperature [degC].
    residual : array_like
        Share of the first segregation amplitude that is left [-].

    Returns
    -------
    array
        Time [min].

    Notes
    -----
    Rounding of the silicon takes longer and sets the treatment: 0.5-2 h modified, 6-12 h unmodified.
    """
    metres = np.asarray(sdas_um, dtype=float) * 1e-6
    seconds = -np.log(np.asarray(residual, dtype=float)) * metres**2 / (4.0 * np.pi**2)
    return np.asarray(seconds / (60.0 * magnesium_diffusivity(solution_temp_c)))
