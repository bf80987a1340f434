"""Secondary dendrite arm spacing (SDAS): castq's default, and the published relations it is held against.

Relations are written either in the local solidification time (liquidus to end of freezing) or in the mean cooling
rate through the freezing range. Each keeps the variable of its source; `castq.physics.freezing` turns one into the
other. A rate taken at the liquidus belongs in none of them.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import Band, relation
from castq.physics.freezing import mean_cooling_rate

Array = NDArray[np.float64]

SCATTER = Band("relative", 0.15, "scatter of SDAS measurements 10 to 20 %; the source's own band is not known")


@relation(
    id="sdas-cube-root-time",
    title="SDAS from local solidification time, cube-root coarsening",
    source="coarsening law; prefactor 10 um/s^(1/3) for A356 between published 8.8 and 12, and within 7 % of "
    "Zhang and others 2008, Journal of Materials Processing Technology 207:107, at 0.2 to 20 K/s",
    provenance="derived",
    band=Band("relative", 0.15, "spread of published relations, -12 to +30 %"),
    valid={"local_solidification_time_s": (1.0, 400.0)},
)
def sdas_cube_root(local_solidification_time_s: ArrayLike, prefactor_um: ArrayLike = 10.0) -> Array:
    """Return the secondary dendrite arm spacing.

    Parameters
    ----------
    local_solidification_time_s : array_like
        Time from liquidus to end of freezing [s].
    prefactor_um : array_like
        Prefactor [um/s^(1/3)].

    Returns
    -------
    array
        SDAS [um].

    Notes
    -----
    The prefactor is fitted to plant metallography where there is any; modifier and grain refiner change it by less
    than 10 %.
    """
    return np.asarray(prefactor_um, dtype=float) * np.cbrt(np.asarray(local_solidification_time_s, dtype=float))


@relation(
    id="sdas-a356-zhang-2008",
    title="SDAS of A356 from mean cooling rate",
    source="Zhang and others 2008, Journal of Materials Processing Technology 207:107: 39.4 R^-0.317",
    provenance="memory",
    band=SCATTER,
    valid={"mean_cooling_rate_k_s": (0.1, 10.0)},
)
def sdas_a356_zhang(mean_cooling_rate_k_s: ArrayLike) -> Array:
    """Return the SDAS of A356.

    Parameters
    ----------
    mean_cooling_rate_k_s : array_like
        Mean rate through the freezing range [K/s].

    Returns
    -------
    array
        SDAS [um].
    """
    return 39.4 * np.asarray(mean_cooling_rate_k_s, dtype=float) ** -0.317


@relation(
    id="sdas-a357-wang-2013",
    title="SDAS of A357 from mean cooling rate",
    source="Wang, Jie and others 2013, Foundry Technology 34(4):393, sand and steel moulds: 38.76 R^-0.276",
    provenance="read",
    band=SCATTER,
)
def sdas_a357_wang(mean_cooling_rate_k_s: ArrayLike) -> Array:
    """Return the SDAS of A357.

    Parameters
    ----------
    mean_cooling_rate_k_s : array_like
        Mean rate through the freezing range [K/s].

    Returns
    -------
    array
        SDAS [um].

    Notes
    -----
    The range of rates was not readable in the source.
    """
    return 38.76 * np.asarray(mean_cooling_rate_k_s, dtype=float) ** -0.276


@relation(
    id="sdas-cube-root-rate",
    title="SDAS of Al-Si from mean cooling rate, cube root",
    source="textbook form for Al-Si foundry alloys, from memory: 45 R^(-1/3)",
    provenance="memory",
    band=SCATTER,
)
def sdas_cube_root_rate(mean_cooling_rate_k_s: ArrayLike) -> Array:
    """Return the SDAS of Al-Si alloys.

    Parameters
    ----------
    mean_cooling_rate_k_s : array_like
        Mean rate through the freezing range [K/s].

    Returns
    -------
    array
        SDAS [um].
    """
    return 45.0 / np.cbrt(np.asarray(mean_cooling_rate_k_s, dtype=float))


@relation(
    id="sdas-power-rate",
    title="SDAS of Al-Si from mean cooling rate, upper line",
    source="textbook form for Al-Si foundry alloys, from memory: 50 R^-0.33",
    provenance="memory",
    band=SCATTER,
)
def sdas_power_rate(mean_cooling_rate_k_s: ArrayLike) -> Array:
    """Return the SDAS of Al-Si alloys.

    Parameters
    ----------
    mean_cooling_rate_k_s : array_like
        Mean rate through the freezing range [K/s].

    Returns
    -------
    array
        SDAS [um].
    """
    return 50.0 * np.asarray(mean_cooling_rate_k_s, dtype=float) ** -0.33


@relation(
    id="sdas-power-time",
    title="SDAS of Al-Si from local solidification time, power law",
    source="textbook form for Al-Si foundry alloys, from memory: 10.2 t^0.33",
    provenance="memory",
    band=SCATTER,
)
def sdas_power_time(local_solidification_time_s: ArrayLike) -> Array:
    """Return the SDAS of Al-Si alloys.

    Parameters
    ----------
    local_solidification_time_s : array_like
        Time from liquidus to end of freezing [s].

    Returns
    -------
    array
        SDAS [um].
    """
    return 10.2 * np.asarray(local_solidification_time_s, dtype=float) ** 0.33


@relation(
    id="sdas-coarsening-al7si05mg",
    title="SDAS of Al-7Si-0.5Mg by coarsening from a first spacing",
    source="directional solidification of untreated Al-7Si-0.5Mg, abstract: B = 33, M = 22.46; the cubic law "
    "and the unit um^3/s are our reading",
    provenance="read",
    band=SCATTER,
)
def sdas_coarsening(
    local_solidification_time_s: ArrayLike,
    first_spacing_um: ArrayLike = 0.0,
    geometry_factor: ArrayLike = 33.0,
    coarsening_parameter: ArrayLike = 22.46,
) -> Array:
    """Return the SDAS after coarsening, the cube root of l0^3 + B M t.

    Parameters
    ----------
    local_solidification_time_s : array_like
        Time from liquidus to end of freezing [s].
    first_spacing_um : array_like
        Spacing at the dendrite tip [um].
    geometry_factor : array_like
        Factor B [-].
    coarsening_parameter : array_like
        Parameter M [um^3/s].

    Returns
    -------
    array
        SDAS [um].
    """
    grown = np.asarray(geometry_factor, dtype=float) * np.asarray(coarsening_parameter, dtype=float)
    return np.cbrt(
        np.asarray(first_spacing_um, dtype=float) ** 3 + grown * np.asarray(local_solidification_time_s, dtype=float)
    )


@relation(
    id="sdas-feurer-wunderlin",
    title="SDAS of A356 by cubic coarsening, constant 680",
    source="constant 680 after Feurer and Wunderlin, read in a digest; the unit um^3/s is our reading",
    provenance="read",
    band=SCATTER,
)
def sdas_feurer_wunderlin(local_solidification_time_s: ArrayLike) -> Array:
    """Return the SDAS of A356.

    Parameters
    ----------
    local_solidification_time_s : array_like
        Time from liquidus to end of freezing [s].

    Returns
    -------
    array
        SDAS [um].
    """
    return np.cbrt(680.0 * np.asarray(local_solidification_time_s, dtype=float))


@relation(
    id="sdas-al-cu-si-time",
    title="SDAS of Al-Cu-Si from local solidification time",
    source="Ronto and Roosz 2001, International Journal of Cast Metals Research 13:337, thermal analysis",
    provenance="read",
    band=SCATTER,
)
def sdas_al_cu_si_time(
    local_solidification_time_s: ArrayLike, copper_wt_pct: ArrayLike, silicon_wt_pct: ArrayLike
) -> Array:
    """Return the SDAS of Al-Cu-Si alloys; not for the Al-Si-Mg alloys of wheels.

    Parameters
    ----------
    local_solidification_time_s : array_like
        Time from liquidus to end of freezing [s].
    copper_wt_pct, silicon_wt_pct : array_like
        Composition [wt%].

    Returns
    -------
    array
        SDAS [um].
    """
    copper = np.asarray(copper_wt_pct, dtype=float) ** -0.333
    silicon = np.asarray(silicon_wt_pct, dtype=float) ** -0.145
    return 34.9 * copper * silicon * np.asarray(local_solidification_time_s, dtype=float) ** 0.208


@relation(
    id="sdas-al-cu-si-rate",
    title="SDAS of Al-Cu-Si from mean cooling rate",
    source="Ronto and Roosz 2001, International Journal of Cast Metals Research 13:337, thermal analysis",
    provenance="read",
    band=SCATTER,
)
def sdas_al_cu_si_rate(mean_cooling_rate_k_s: ArrayLike, copper_wt_pct: ArrayLike, silicon_wt_pct: ArrayLike) -> Array:
    """Return the SDAS of Al-Cu-Si alloys; not for the Al-Si-Mg alloys of wheels.

    Parameters
    ----------
    mean_cooling_rate_k_s : array_like
        Mean rate through the freezing range [K/s].
    copper_wt_pct, silicon_wt_pct : array_like
        Composition [wt%].

    Returns
    -------
    array
        SDAS [um].
    """
    copper = np.asarray(copper_wt_pct, dtype=float) ** -0.199
    silicon = np.asarray(silicon_wt_pct, dtype=float) ** -0.078
    return 77.09 * copper * silicon * np.asarray(mean_cooling_rate_k_s, dtype=float) ** -0.252


@relation(
    id="ripening-parameter",
    title="Ripening parameter of a binary alloy",
    source="Kurz and Fisher, Fundamentals of Solidification: G D ln(Ce/C0) / (m (1-k) (Ce-C0))",
    provenance="memory",
    band=Band("factor", 1.5, "diffusivity and Gibbs-Thomson coefficient"),
)
def ripening_parameter(
    start_wt_pct: ArrayLike = 7.0,
    end_wt_pct: ArrayLike = 12.6,
    liquid_diffusivity: ArrayLike = 3e-9,
    gibbs_thomson: ArrayLike = 1.96e-7,
    *,
    liquidus_slope: ArrayLike = 6.6,
    partition: ArrayLike = 0.13,
) -> Array:
    """Return the ripening parameter M of dendrite arms; defaults for Al-7Si.

    Parameters
    ----------
    start_wt_pct, end_wt_pct : array_like
        Composition of the alloy, and of the liquid at the end of freezing [wt%].
    liquid_diffusivity : array_like
        Diffusivity in the liquid [m2/s].
    gibbs_thomson : array_like
        Gibbs-Thomson coefficient [K m].
    liquidus_slope : array_like
        Fall of the liquidus [K/wt%].
    partition : array_like
        Partition coefficient [-].

    Returns
    -------
    array
        Ripening parameter [um^3/s].
    """
    start, end = np.asarray(start_wt_pct, dtype=float), np.asarray(end_wt_pct, dtype=float)
    drive = np.asarray(gibbs_thomson, dtype=float) * np.asarray(liquid_diffusivity, dtype=float)
    rejected = np.asarray(liquidus_slope, dtype=float) * (1.0 - np.asarray(partition, dtype=float))
    return 1e18 * drive * np.log(end / start) / (rejected * (end - start))


@relation(
    id="sdas-kurz-fisher",
    title="SDAS from the ripening parameter",
    source="Kurz and Fisher, Fundamentals of Solidification: 5.5 (M t)^(1/3)",
    provenance="memory",
    band=Band("factor", 1.3, "with literature data 25 % and more above measurement"),
)
def sdas_kurz_fisher(local_solidification_time_s: ArrayLike, ripening_parameter: ArrayLike) -> Array:
    """Return the theoretical SDAS.

    Parameters
    ----------
    local_solidification_time_s : array_like
        Time from liquidus to end of freezing [s].
    ripening_parameter : array_like
        Ripening parameter M [um^3/s].

    Returns
    -------
    array
        SDAS [um].

    Notes
    -----
    For A356 it lies well above measured spacings unless the parameter is fitted, so castq does not predict with it.
    """
    return 5.5 * np.cbrt(
        np.asarray(ripening_parameter, dtype=float) * np.asarray(local_solidification_time_s, dtype=float)
    )


OF_TIME: dict[str, Callable[[ArrayLike], Array]] = {
    "sdas-cube-root-time": sdas_cube_root,
    "sdas-power-time": sdas_power_time,
    "sdas-coarsening-al7si05mg": sdas_coarsening,
    "sdas-feurer-wunderlin": sdas_feurer_wunderlin,
}
OF_RATE: dict[str, Callable[[ArrayLike], Array]] = {
    "sdas-a356-zhang-2008": sdas_a356_zhang,
    "sdas-a357-wang-2013": sdas_a357_wang,
    "sdas-cube-root-rate": sdas_cube_root_rate,
    "sdas-power-rate": sdas_power_rate,
}


def sdas_published(local_solidification_time_s: ArrayLike, freezing_range_k: ArrayLike) -> dict[str, Array]:
    """Return the SDAS by each relation meant for Al-7Si-Mg; their spread shows the uncertainty of the model.

    Parameters
    ----------
    local_solidification_time_s : array_like
        Time from liquidus to end of freezing [s].
    freezing_range_k : array_like
        Liquidus less end of freezing [K].

    Returns
    -------
    dict of relation id to array
        SDAS [um].
    """
    rate = mean_cooling_rate(freezing_range_k, local_solidification_time_s)
    found = {name: function(local_solidification_time_s) for name, function in OF_TIME.items()}
    return found | {name: function(rate) for name, function in OF_RATE.items()}
