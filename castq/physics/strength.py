"""Yield and tensile strength of Al-Si-Mg castings: tempers, the T6 chain, work hardening."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.errors import input_error, nearest
from castq.core.relation import Band, relation
from castq.physics.ageing import ageing_curve_shape, magnesium_in_solution, quench_strength_change, yield_aged

REFERENCE_SDAS_UM = 30.0
SDAS_SLOPE_MPA_PER_UM = 0.4


@dataclass(frozen=True, slots=True)
class Temper:
    """A temper as the property chain sees it.

    Attributes
    ----------
    ys_mpa : float
        Yield strength where it is taken as one value [MPa]; NaN where the ageing chain gives it.
    ys_one_sigma_mpa : float
        Standard deviation of the yield strength [MPa].
    elongation_factor : float
        Elongation over that of T6 metal of the same yield strength [-]: lower where the silicon is not rounded.
    note : str
        What the values rest on.
    """

    ys_mpa: float
    ys_one_sigma_mpa: float
    elongation_factor: float
    note: str


# An alloy without magnesium to speak of cannot be aged: whatever the treatment, it is screened as cast.
AS_CAST_NO_MAGNESIUM = "F without Mg"

TEMPERS: dict[str, Temper] = {
    "F": Temper(112.0, 15.0, 0.45, "as cast; through published as-cast A356 rows"),
    "T4": Temper(130.0, 15.0, 1.0, "solution treated, quenched, naturally aged"),
    "T5": Temper(140.0, 15.0, 0.30, "cooled from the die and aged; through T51 handbook rows"),
    "T6": Temper(float("nan"), 12.0, 1.0, "solution treated, quenched, artificially aged: the ageing chain"),
    AS_CAST_NO_MAGNESIUM: Temper(90.0, 10.0, 1.0, "AlSi11 as cast, 80-100 MPa; common practice, no source"),
}


def temper_name(temper: str, heat_treatable: bool = True, source: str = "treatment") -> str:
    """Return the row of `TEMPERS` that holds for an alloy in a temper.

    Parameters
    ----------
    temper : str
        "F", "T4", "T5" or "T6".
    heat_treatable : bool
        False for an alloy without magnesium to speak of; it is always taken as cast.
    source : str
        File or option that named the temper, for the error message.

    Returns
    -------
    str
        Key of `TEMPERS`.

    Raises
    ------
    InputError
        If the temper is not known.
    """
    if temper not in TEMPERS:
        known = ", ".join(TEMPERS)
        raise input_error(
            source, "temper", f"'{temper}' is not a temper castq knows", known, nearest(temper, [*TEMPERS])
        )
    return temper if heat_treatable else AS_CAST_NO_MAGNESIUM


@relation(
    id="yield-by-temper",
    title="Yield strength of the tempers that are taken as one value",
    source="as cast: published A356 rows (111.7 MPa and 90-150 MPa); T5: T51 handbook rows; T4 from as quenched",
    provenance="derived",
    band=Band("absolute", 15.0, "MPa", "handbook ranges"),
    closure=True,
)
def yield_by_temper(temper: str) -> NDArray[np.float64]:
    """Return the yield strength that stands for a temper.

    Parameters
    ----------
    temper : str
        Key of `TEMPERS` [-].

    Returns
    -------
    array
        0.2 % proof stress [MPa]; NaN for T6.
    """
    return np.asarray(TEMPERS[temper].ys_mpa)


@relation(
    id="yield-sdas-change",
    title="Change of T6 yield strength with SDAS",
    source="EN 1706 minima for AlSi7Mg0.3 T6, 210 MPa chill and 190 MPa sand cast, taken as 30 and 80 um",
    provenance="derived",
    band=Band("absolute", 6.0, "MPa", "slope 0.4 ± 0.3 MPa/um over 20 um"),
    valid={"sdas_um": (12.0, 90.0)},
)
def yield_sdas_change(sdas_um: ArrayLike, slope_mpa_per_um: ArrayLike = SDAS_SLOPE_MPA_PER_UM) -> NDArray[np.float64]:
    """Return what the arm spacing adds to the yield strength, zero at 30 um.

    Parameters
    ----------
    sdas_um : array_like
        Secondary dendrite arm spacing [um].
    slope_mpa_per_um : array_like
        Yield strength lost per um [MPa/um].

    Returns
    -------
    array
        Change of yield strength [MPa].
    """
    return np.asarray(slope_mpa_per_um, dtype=float) * (REFERENCE_SDAS_UM - np.asarray(sdas_um, dtype=float))


@relation(
    id="yield-porosity-share",
    title="Share of the yield strength left by pores",
    source="load-bearing section; little else is seen in yield, Caceres and Selling, Mater. Sci. Eng. A 220 (1996) 109",
    provenance="read",
    band=Band("relative", 0.01, "small pore volumes"),
    valid={"porosity_pct": (0.0, 5.0)},
)
def yield_porosity_share(porosity_pct: ArrayLike) -> NDArray[np.float64]:
    """Return the yield strength of porous metal over that of sound metal.

    Parameters
    ----------
    porosity_pct : array_like
        Porosity by volume [%].

    Returns
    -------
    array
        Share [-].
    """
    return 1.0 - np.asarray(porosity_pct, dtype=float) * 0.01


@relation(
    id="yield-t6-chain",
    title="T6 yield strength from magnesium, ageing, quench, SDAS and porosity",
    source="sum of the ageing curve, quench term and SDAS term, each with its own source",
    provenance="derived",
    band=Band("absolute", 12.0, "MPa", "±8 when calibrated to a plant"),
    valid={
        "sdas_um": (12.0, 90.0),
        "magnesium_wt_pct": (0.2, 0.7),
        "reduced_time": (0.0, 3.0),
        "quench_rate_k_s": (0.5, 250.0),
        "porosity_pct": (0.0, 5.0),
    },
)
def yield_t6(
    sdas_um: ArrayLike,
    magnesium_wt_pct: ArrayLike = 0.35,
    reduced_time: ArrayLike = 1.0,
    quench_rate_k_s: ArrayLike = 30.0,
    porosity_pct: ArrayLike = 0.0,
) -> NDArray[np.float64]:
    """Return the T6 yield strength of a dendritic Al-7Si-Mg casting.

    Parameters
    ----------
    sdas_um : array_like
        Secondary dendrite arm spacing [um].
    magnesium_wt_pct : array_like
        Magnesium of the alloy [wt%].
    reduced_time : array_like
        Ageing time over time to peak, see `castq.physics.ageing.reduced_ageing_time` [-].
    quench_rate_k_s : array_like
        Mean cooling rate of the quench [K/s].
    porosity_pct : array_like
        Porosity by volume [%].

    Returns
    -------
    array
        0.2 % proof stress [MPa].

    Notes
    -----
    Made for 100-300 MPa; not for semi-solid or flow-formed metal, nor for alloys without magnesium. The quench term
    was measured at peak; off peak it is scaled by the precipitate share.
    """
    aged = yield_aged(magnesium_in_solution(magnesium_wt_pct), reduced_time)
    quench = quench_strength_change(quench_rate_k_s) * ageing_curve_shape(reduced_time)
    return np.asarray(((aged + quench) + yield_sdas_change(sdas_um)) * yield_porosity_share(porosity_pct))


def yield_strength(
    temper: str,
    sdas_um: ArrayLike,
    magnesium_wt_pct: ArrayLike = 0.35,
    reduced_time: ArrayLike = 1.0,
    quench_rate_k_s: ArrayLike = 30.0,
    porosity_pct: ArrayLike = 0.0,
) -> NDArray[np.float64]:
    """Return the yield strength in any temper of `TEMPERS`.

    Parameters
    ----------
    temper : str
        Key of `TEMPERS`, see `temper_name` [-].
    sdas_um : array_like
        Secondary dendrite arm spacing [um]; changes the value in T6 only, for the others no slope is known.
    magnesium_wt_pct : array_like
        Magnesium of the alloy [wt%]; T6 only.
    reduced_time : array_like
        Ageing time over time to peak [-]; T6 only.
    quench_rate_k_s : array_like
        Mean cooling rate of the quench [K/s]; T6 only.
    porosity_pct : array_like
        Porosity by volume [%].

    Returns
    -------
    array
        0.2 % proof stress [MPa].
    """
    if np.isnan(TEMPERS[temper].ys_mpa):
        return yield_t6(sdas_um, magnesium_wt_pct, reduced_time, quench_rate_k_s, porosity_pct)
    sound = np.full(np.shape(sdas_um), yield_by_temper(temper))
    return np.asarray(sound * yield_porosity_share(porosity_pct))


@relation(
    id="work-hardening-exponent",
    title="Strain-hardening exponent from yield strength",
    source="least squares over 12 published A356-type tensile rows, yield 112-300 MPa (tensile_rows.csv names them)",
    provenance="derived",
    band=Band("absolute", 0.008, "-", "residual of the fit"),
    valid={"ys_mpa": (100.0, 300.0)},
)
def work_hardening_exponent(ys_mpa: ArrayLike, shift: ArrayLike = 0.0) -> NDArray[np.float64]:
    """Return the exponent of the power law between true stress and strain.

    Parameters
    ----------
    ys_mpa : array_like
        0.2 % proof stress [MPa].
    shift : array_like
        Departure of one casting from the fitted line [-], one sigma 0.008.

    Returns
    -------
    array
        Exponent, held between 0.03 and 0.25 [-].
    """
    exponent = 0.2535 - 0.000683 * np.asarray(ys_mpa, dtype=float) + np.asarray(shift, dtype=float)
    return np.asarray(np.clip(exponent, 0.03, 0.25))


@relation(
    id="tensile-from-yield-elongation",
    title="Tensile strength from yield strength and elongation by power-law hardening",
    source="Hollomon flow curve through the 0.2 % proof stress, ended at fracture or at necking; exponent fitted on 12 "
    "published A356-type tensile rows, leave-one-out rms 9.9 MPa",
    provenance="derived",
    band=Band("absolute", 10.0, "MPa", "leave-one-out over 12 rows"),
    valid={"ys_mpa": (100.0, 300.0), "elongation_pct": (0.5, 20.0)},
)
def tensile_strength(
    ys_mpa: ArrayLike, elongation_pct: ArrayLike, exponent_shift: ArrayLike = 0.0
) -> NDArray[np.float64]:
    """Return the tensile strength, any temper.

    Parameters
    ----------
    ys_mpa : array_like
        0.2 % proof stress [MPa].
    elongation_pct : array_like
        Elongation to fracture [%].
    exponent_shift : array_like
        Departure of the hardening exponent from the fitted line [-].

    Returns
    -------
    array
        Ultimate tensile strength [MPa]; below the yield strength where the bar breaks before 0.2 %.

    Notes
    -----
    Ductility lost to a defect area fraction f lowers the tensile strength by about f.
    """
    exponent = work_hardening_exponent(ys_mpa, exponent_shift)
    strain = np.minimum(np.log1p(np.asarray(elongation_pct, dtype=float) * 0.01), exponent)
    with np.errstate(divide="ignore"):  # no elongation at all: the logarithm is minus infinity, the strength zero
        power = np.log(strain * 500.0)
    power *= exponent
    power -= strain
    return np.asarray(np.asarray(ys_mpa, dtype=float) * np.exp(power))
