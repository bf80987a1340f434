"""Quality indices of Al-7Si-Mg castings, and minima for bars cut from a casting."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import EXACT, Band, relation

DROUZY_SOURCE = "Drouzy, Jacob and Richard, as reviewed by Jacob, AFS Silver Anniversary Paper; 356 and 357 only"
CACERES_SOURCE = "Caceres, Int. J. Cast Met. Res. 12 (2000) 385"


@relation(
    id="quality-drouzy",
    title="Quality index of Drouzy, Jacob and Richard",
    source=DROUZY_SOURCE,
    provenance="read",
    band=EXACT,
    valid={"elongation_pct": (1.0, 20.0)},
)
def quality_drouzy(uts_mpa: ArrayLike, elongation_pct: ArrayLike) -> NDArray[np.float64]:
    """Return the quality index.

    Parameters
    ----------
    uts_mpa : array_like
        Ultimate tensile strength [MPa].
    elongation_pct : array_like
        Elongation to fracture [%].

    Returns
    -------
    array
        Quality index [MPa].

    Notes
    -----
    Without meaning below an elongation of about 1 %, where the logarithm turns negative.
    """
    return np.asarray(np.asarray(uts_mpa, dtype=float) + 150.0 * np.log10(np.asarray(elongation_pct, dtype=float)))


@relation(
    id="probable-yield-drouzy",
    title="Probable yield strength from tensile strength and elongation",
    source=DROUZY_SOURCE,
    provenance="read",
    band=Band("absolute", 8.0, "MPa", "nine published T6 rows: bias -2.7, standard deviation 7.7"),
    valid={"elongation_pct": (1.0, 20.0)},
)
def probable_yield_drouzy(uts_mpa: ArrayLike, elongation_pct: ArrayLike) -> NDArray[np.float64]:
    """Return the yield strength that goes with a tensile strength and an elongation in T6.

    Parameters
    ----------
    uts_mpa : array_like
        Ultimate tensile strength [MPa].
    elongation_pct : array_like
        Elongation to fracture [%].

    Returns
    -------
    array
        0.2 % proof stress [MPa].

    Notes
    -----
    The constant is minus 13; a plus is a common misprint. As-cast and under-aged metal is given 14-30 MPa too much:
    distrust values below 190 MPa.
    """
    return np.asarray(
        np.asarray(uts_mpa, dtype=float) - 60.0 * np.log10(np.asarray(elongation_pct, dtype=float)) - 13.0
    )


def yield_disagrees(
    ys_mpa: ArrayLike, uts_mpa: ArrayLike, elongation_pct: ArrayLike, limit_mpa: float = 25.0
) -> NDArray[np.bool_]:
    """Return where a T6 yield strength is far from the probable one.

    Parameters
    ----------
    ys_mpa : array_like
        0.2 % proof stress [MPa].
    uts_mpa : array_like
        Ultimate tensile strength [MPa].
    elongation_pct : array_like
        Elongation to fracture [%].
    limit_mpa : float
        Largest difference that raises no flag [MPa].

    Returns
    -------
    array of bool
        True where the difference is larger [-].
    """
    difference = probable_yield_drouzy(uts_mpa, elongation_pct) - np.asarray(ys_mpa, dtype=float)
    return np.asarray(np.abs(difference) > limit_mpa)


@relation(
    id="quality-caceres",
    title="Quality index from the share of uniform strain reached",
    source=CACERES_SOURCE,
    provenance="memory",
    band=EXACT,
    valid={"hardening_exponent": (0.08, 0.20), "relative_ductility": (0.05, 1.0)},
)
def quality_caceres(
    strength_coefficient_mpa: ArrayLike, hardening_exponent: ArrayLike, relative_ductility: ArrayLike
) -> NDArray[np.float64]:
    """Return the quality index of metal that follows a power law and breaks at a share of its uniform strain.

    Parameters
    ----------
    strength_coefficient_mpa : array_like
        Strength coefficient K of the power law [MPa]; 375 MPa belongs to the factor 150 of Drouzy.
    hardening_exponent : array_like
        Strain-hardening exponent n [-].
    relative_ductility : array_like
        Fracture strain over n [-].

    Returns
    -------
    array
        Quality index [MPa].
    """
    n = np.asarray(hardening_exponent, dtype=float)
    strain = np.asarray(relative_ductility, dtype=float) * n
    flow = np.exp(n * np.log(strain) - strain)
    return np.asarray(np.asarray(strength_coefficient_mpa, dtype=float) * (flow + 0.4 * np.log10(100.0 * strain)))


@relation(
    id="quality-caceres-approximate",
    title="Quality index from the share of uniform strain reached, short form",
    source=CACERES_SOURCE,
    provenance="memory",
    band=Band("relative", 0.02, "against the full form, n 0.08-0.20"),
    valid={"relative_ductility": (0.05, 1.0)},
)
def quality_caceres_approximate(
    strength_coefficient_mpa: ArrayLike, relative_ductility: ArrayLike
) -> NDArray[np.float64]:
    """Return the quality index by the logarithmic short form.

    Parameters
    ----------
    strength_coefficient_mpa : array_like
        Strength coefficient K of the power law [MPa].
    relative_ductility : array_like
        Fracture strain over the hardening exponent [-].

    Returns
    -------
    array
        Quality index [MPa].
    """
    share = 1.12 + 0.22 * np.log(np.asarray(relative_ductility, dtype=float))
    return np.asarray(np.asarray(strength_coefficient_mpa, dtype=float) * share)


@relation(
    id="quality-tiryakioglu",
    title="Share of the ductility potential reached",
    source="Tiryakioglu, Campbell and Alexopoulos, Metall. Mater. Trans. A 40 (2009) 1000; A356 and A357",
    provenance="memory",
    band=Band("relative", 0.05, "place of the potential line"),
    valid={"ys_mpa": (100.0, 350.0), "elongation_pct": (0.0, 25.0)},
)
def quality_tiryakioglu(elongation_pct: ArrayLike, ys_mpa: ArrayLike) -> NDArray[np.float64]:
    """Return the elongation over the most that metal of this yield strength can reach.

    Parameters
    ----------
    elongation_pct : array_like
        Elongation to fracture [%].
    ys_mpa : array_like
        0.2 % proof stress [MPa].

    Returns
    -------
    array
        Share [-]: below 0.25 gross oxide defects, above 0.70 few defects; the limits are not sharp.
    """
    return np.asarray(elongation_pct, dtype=float) / (36.0 - 0.064 * np.asarray(ys_mpa, dtype=float))


@relation(
    id="minima-cut-from-casting",
    title="Minima for bars cut from a casting, from those of separately cast bars",
    source="rule of the Aluminum Association and ASTM castings specifications: 75 % of strength, 25 % of elongation",
    provenance="read",
    band=EXACT,
)
def minima_cut_from_casting(
    uts_mpa: ArrayLike, ys_mpa: ArrayLike, elongation_pct: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return the minima that hold for bars cut from a casting where nothing else is agreed.

    Parameters
    ----------
    uts_mpa : array_like
        Tensile minimum of separately cast bars [MPa].
    ys_mpa : array_like
        Yield minimum of separately cast bars [MPa].
    elongation_pct : array_like
        Elongation minimum of separately cast bars [%].

    Returns
    -------
    tuple of arrays
        Tensile [MPa], yield [MPa] and elongation [%] minima.

    Notes
    -----
    Wheels are judged against their drawing; the rule shows how far bars from a casting may lie below the tables.
    """
    return (
        0.75 * np.asarray(uts_mpa, dtype=float),
        0.75 * np.asarray(ys_mpa, dtype=float),
        0.25 * np.asarray(elongation_pct, dtype=float),
    )
