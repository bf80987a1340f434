"""Elongation of Al-Si-Mg castings: sound metal, modification, iron, defects, and a plastic-instability model."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammainc, gammaincinv, lambertw

from castq.core.relation import Band, relation

DUCTILITY_SOURCE = (
    "ductility-potential line 36.0 - 0.064 YS of Tiryakioglu, Campbell and Alexopoulos, Metall. Mater. Trans. A 40 "
    "(2009) 1000; SDAS law anchored on squeeze-cast (SAE 1999-01-0343, -0344), chill and sand rows"
)


@relation(
    id="elongation-sound",
    title="Elongation of sound, modified T6 metal from SDAS and yield strength",
    source=DUCTILITY_SOURCE,
    provenance="derived",
    band=Band("factor", 1.45, "specimen to specimen; anchors only, calibrate to a plant"),
    valid={"sdas_um": (12.0, 90.0), "ys_mpa": (100.0, 300.0)},
    closure=True,
)
def elongation_sound(sdas_um: ArrayLike, ys_mpa: ArrayLike) -> NDArray[np.float64]:
    """Return the elongation without pores, with modified silicon and little iron.

    Parameters
    ----------
    sdas_um : array_like
        Secondary dendrite arm spacing [um].
    ys_mpa : array_like
        0.2 % proof stress [MPa].

    Returns
    -------
    array
        Elongation to fracture [%].

    Notes
    -----
    An engineering default, not a published fit. Tempers other than T6 take the factor in
    `castq.physics.strength.TEMPERS`.
    """
    ratio = np.asarray(sdas_um, dtype=float) / 20.0
    potential = np.maximum(36.0 - 0.064 * np.asarray(ys_mpa, dtype=float), 0.0)
    return 0.56 * np.exp(-0.8 * np.log(ratio)) * potential


@relation(
    id="elongation-modification-factor",
    title="Elongation factor of silicon modification by strontium",
    source="modified 1.0; unmodified 0.7 after 6 h and 0.5 after 1 h of solution treatment; fade range 30-100 ppm",
    provenance="practice",
    band=Band("relative", 0.20, "judged"),
    valid={"strontium_ppm": (0.0, 250.0), "solution_time_h": (0.5, 12.0)},
    closure=True,
)
def modification_factor(strontium_ppm: ArrayLike, solution_time_h: ArrayLike = 6.0) -> NDArray[np.float64]:
    """Return the elongation over that of fully modified metal.

    Parameters
    ----------
    strontium_ppm : array_like
        Strontium in the melt when poured [ppm].
    solution_time_h : array_like
        Solution treatment at about 540 degC [h]; 0 for none.

    Returns
    -------
    array
        Factor [-].

    Notes
    -----
    Straight lines between the anchors: not modified up to 30 ppm, fully from 100 ppm.
    """
    unmodified = np.interp(np.asarray(solution_time_h, dtype=float), [1.0, 6.0], [0.5, 0.7])
    modified = np.interp(np.asarray(strontium_ppm, dtype=float), [30.0, 100.0], [0.0, 1.0])
    return np.asarray(unmodified + (1.0 - unmodified) * modified)


@relation(
    id="elongation-iron-factor",
    title="Elongation factor of iron",
    source="engineering default through the fall of elongation from 0.1 to 0.65 % iron in AlSi7Mg0.3; no fit published",
    provenance="derived",
    band=Band("relative", 0.40, "judged"),
    valid={"iron_wt_pct": (0.0, 0.65)},
    closure=True,
)
def iron_factor(iron_wt_pct: ArrayLike, per_wt_pct: ArrayLike = 2.2) -> NDArray[np.float64]:
    """Return the elongation over that of metal with 0.12 % iron or less.

    Parameters
    ----------
    iron_wt_pct : array_like
        Iron [wt%].
    per_wt_pct : array_like
        Decay of the elongation with iron [1/wt%].

    Returns
    -------
    array
        Factor, 1 up to 0.12 % iron [-].
    """
    excess = np.maximum(np.asarray(iron_wt_pct, dtype=float) - 0.12, 0.0)
    return np.asarray(np.exp(-np.asarray(per_wt_pct, dtype=float) * excess))


@relation(
    id="iron-critical",
    title="Iron above which beta plates form ahead of the eutectic",
    source="Taylor (2004), 0.075 %Si - 0.05",
    provenance="memory",
    band=Band("relative", 0.15, "judged"),
    valid={"silicon_wt_pct": (5.0, 12.0)},
)
def iron_critical(silicon_wt_pct: ArrayLike) -> NDArray[np.float64]:
    """Return the critical iron; above it shrinkage pores become much more frequent.

    Parameters
    ----------
    silicon_wt_pct : array_like
        Silicon [wt%].

    Returns
    -------
    array
        Iron [wt%].
    """
    return 0.075 * np.asarray(silicon_wt_pct, dtype=float) - 0.05


@relation(
    id="elongation-defect-factor",
    title="Elongation factor of defects on the fracture surface",
    source="exponential through plastic-instability results; data of Caceres and Selling (1996) fall in the same way",
    provenance="derived",
    band=Band("factor", 1.4, "decay 18, 11 to 25"),
    valid={"defect_fraction": (0.0, 0.20)},
    closure=True,
)
def defect_factor(defect_fraction: ArrayLike, decay: ArrayLike = 18.0) -> NDArray[np.float64]:
    """Return the elongation over that of sound metal.

    Parameters
    ----------
    defect_fraction : array_like
        Area fraction of defects on the fracture surface [-].
    decay : array_like
        Decay of the elongation with the fraction [-].

    Returns
    -------
    array
        Factor [-].

    Notes
    -----
    Wheel rims measured flat below a fraction of 0.02, so that the factor is on the safe side there.
    """
    return np.asarray(np.exp(-np.asarray(decay, dtype=float) * np.asarray(defect_fraction, dtype=float)))


@relation(
    id="elongation-chain",
    title="Elongation from SDAS, yield strength, defects and factors",
    source="product of the sound elongation, the defect factor and the factors given, each with its own source",
    provenance="derived",
    band=Band("factor", 1.7, "with pores"),
    closure=True,
)
def elongation(
    sdas_um: ArrayLike,
    ys_mpa: ArrayLike,
    defect_fraction: ArrayLike = 0.0,
    decay: ArrayLike = 18.0,
    factor: ArrayLike = 1.0,
) -> NDArray[np.float64]:
    """Return the elongation of the default chain.

    Parameters
    ----------
    sdas_um : array_like
        Secondary dendrite arm spacing [um].
    ys_mpa : array_like
        0.2 % proof stress [MPa].
    defect_fraction : array_like
        Area fraction of defects on the fracture surface [-].
    decay : array_like
        Decay of the elongation with that fraction [-].
    factor : array_like
        Product of the modification, iron and temper factors and of specimen scatter [-].

    Returns
    -------
    array
        Elongation to fracture [%].
    """
    out = elongation_sound(sdas_um, ys_mpa) * defect_factor(defect_fraction, decay)
    return np.asarray(out * np.asarray(factor, dtype=float))


@relation(
    id="elongation-imperfection",
    title="Elongation with a defect from plastic instability, rate independent",
    source="load balance of sound and defective section, after Caceres and Selling, Mater. Sci. Eng. A 220 (1996) 109",
    provenance="memory",
    band=Band("factor", 1.4, "against the rate-dependent form and data"),
    valid={"hardening_exponent": (0.03, 0.25), "defect_fraction": (0.0, 0.25)},
)
def elongation_imperfection(
    hardening_exponent: ArrayLike, sound_elongation_pct: ArrayLike, defect_fraction: ArrayLike
) -> NDArray[np.float64]:
    """Return the elongation of a bar whose weakest section has lost a share of its area.

    Parameters
    ----------
    hardening_exponent : array_like
        Strain-hardening exponent [-].
    sound_elongation_pct : array_like
        Elongation at which the metal itself fails [%].
    defect_fraction : array_like
        Area fraction lost in the weakest section [-].

    Returns
    -------
    array
        Elongation to fracture [%].

    Notes
    -----
    Solves eh^n exp(-eh) = (1 - f) ec^n exp(-ec), ec the lesser of the sound strain and n, for the strain eh of the
    bar; the root below n is a Lambert W value. The tensile strength falls by the factor 1 - f exactly.
    """
    n = np.asarray(hardening_exponent, dtype=float)
    critical = np.minimum(np.log1p(np.asarray(sound_elongation_pct, dtype=float) * 0.01), n)
    kept = 1.0 - np.asarray(defect_fraction, dtype=float)
    argument = -(critical / n) * np.exp(-critical / n) * kept ** (1.0 / n)
    # The branch point -1/e itself is not computed by lambertw; this close to it the strain is n to 1e-6.
    strain = -n * lambertw(np.maximum(argument, -np.exp(-1.0) * (1.0 - 1e-12))).real
    return np.asarray(100.0 * np.expm1(strain))


@relation(
    id="elongation-imperfection-rate",
    title="Elongation with a defect from plastic instability, with strain-rate sensitivity",
    source="Ghosh's form of the imperfection analysis, its integrals written as incomplete gamma functions",
    provenance="memory",
    band=Band("factor", 1.4, "judged"),
    valid={"hardening_exponent": (0.03, 0.25), "defect_fraction": (0.0, 0.25), "rate_exponent": (0.002, 0.02)},
)
def elongation_imperfection_rate(
    hardening_exponent: ArrayLike,
    sound_elongation_pct: ArrayLike,
    defect_fraction: ArrayLike,
    rate_exponent: ArrayLike = 0.005,
) -> NDArray[np.float64]:
    """Return the elongation of a bar with a weak section of rate-sensitive metal.

    Parameters
    ----------
    hardening_exponent : array_like
        Strain-hardening exponent [-].
    sound_elongation_pct : array_like
        Elongation at which the metal itself fails [%].
    defect_fraction : array_like
        Area fraction lost in the weakest section [-].
    rate_exponent : array_like
        Strain-rate sensitivity exponent [-].

    Returns
    -------
    array
        Elongation to fracture [%].
    """
    n, m = np.asarray(hardening_exponent, dtype=float), np.asarray(rate_exponent, dtype=float)
    critical = np.log1p(np.asarray(sound_elongation_pct, dtype=float) * 0.01)
    kept = (1.0 - np.asarray(defect_fraction, dtype=float)) ** (1.0 / m)
    order = n / m + 1.0
    return np.asarray(100.0 * np.expm1(m * gammaincinv(order, kept * gammainc(order, critical / m))))
