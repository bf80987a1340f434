"""Geometry rules of feeding: inscribed circles of junctions, and moduli from casting to feeder."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import EXACT, Band, relation

NECK_RATIO = 1.1
FEEDER_RATIO = 1.2


@relation(
    id="t-junction-circle",
    title="Inscribed circle of a T-junction",
    source="plane geometry: circle that touches the back of the bar and both fillets",
    provenance="derived",
    band=EXACT,
)
def t_junction_circle(bar_mm: ArrayLike, stem_mm: ArrayLike, fillet_mm: ArrayLike = 0.0) -> NDArray[np.float64]:
    """Return the diameter of the largest circle inside a T-junction of two straight walls.

    Parameters
    ----------
    bar_mm : array_like
        Thickness of the wall that runs through [mm].
    stem_mm : array_like
        Thickness of the wall that ends on it [mm].
    fillet_mm : array_like
        Fillet radius, 0 for sharp corners [mm].

    Returns
    -------
    array
        Diameter [mm].

    Notes
    -----
    Equal walls t: 1.25 t sharp, 1.5 t with a fillet of t/2, 1.75 t with a fillet of t. A stem thicker than
    2 (bar + fillet) holds the largest circle itself.
    """
    bar, stem, fillet = (np.asarray(x, dtype=float) for x in (bar_mm, stem_mm, fillet_mm))
    at_junction = bar + np.square(0.5 * stem + fillet) / (bar + 2.0 * fillet)
    return np.where(stem > 2.0 * (bar + fillet), stem, at_junction)


@relation(
    id="x-junction-circle",
    title="Inscribed circle of an X-junction",
    source="plane geometry: circle that touches all four fillets",
    provenance="derived",
    band=EXACT,
)
def x_junction_circle(wall_a_mm: ArrayLike, wall_b_mm: ArrayLike, fillet_mm: ArrayLike = 0.0) -> NDArray[np.float64]:
    """Return the diameter of the largest circle inside a right-angled crossing of two walls.

    Parameters
    ----------
    wall_a_mm : array_like
        Thickness of one wall [mm].
    wall_b_mm : array_like
        Thickness of the other [mm].
    fillet_mm : array_like
        Fillet radius, 0 for sharp corners [mm].

    Returns
    -------
    array
        Diameter [mm].
    """
    fillet = np.asarray(fillet_mm, dtype=float)
    reach = np.hypot(
        0.5 * np.asarray(wall_a_mm, dtype=float) + fillet, 0.5 * np.asarray(wall_b_mm, dtype=float) + fillet
    )
    return 2.0 * (reach - fillet)


@relation(
    id="feeder-moduli",
    title="Moduli of neck and feeder over that of the casting, sand practice",
    source="Wlodawer's rule 1 : 1.1 : 1.2",
    provenance="memory",
    band=Band("relative", 0.05, "rule of thumb"),
)
def feeder_moduli(casting_modulus_mm: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the moduli that neck and feeder should have.

    Parameters
    ----------
    casting_modulus_mm : array_like
        Volume over cooled surface of the casting there [mm].

    Returns
    -------
    neck : array
        Modulus of the neck [mm].
    feeder : array
        Modulus of the feeder [mm].

    Notes
    -----
    Made for sand, where time goes with the square of the modulus. In a steel die it goes with about the power 1.25,
    and the rule leaves little: use the freezing order in time.
    """
    modulus = np.asarray(casting_modulus_mm, dtype=float)
    return NECK_RATIO * modulus, FEEDER_RATIO * modulus


@relation(
    id="freezing-time-ratio",
    title="Ratio of freezing times from the ratio of moduli",
    source="Chvorinov's general form t = B M^n",
    provenance="derived",
    band=Band("relative", 0.03, "exponent ±0.1 in a die, at a ratio of 1.2"),
    valid={"modulus_ratio": (0.5, 2.0), "exponent": (1.0, 2.0)},
)
def freezing_time_ratio(modulus_ratio: ArrayLike, exponent: ArrayLike = 1.25) -> NDArray[np.float64]:
    """Return how much later a thicker section freezes.

    Parameters
    ----------
    modulus_ratio : array_like
        Ratio of moduli [-].
    exponent : array_like
        Exponent of the time law: 2 in sand, 1.2 to 1.3 in a steel die [-].

    Returns
    -------
    array
        Ratio of freezing times [-].
    """
    return np.power(np.asarray(modulus_ratio, dtype=float), np.asarray(exponent, dtype=float))


@relation(
    id="inscribed-circle-step",
    title="Number of steps that a taper allows toward the feeder",
    source="Heuvers' circles: each inscribed circle at least 1.05 to 1.1 times the one before",
    provenance="memory",
    band=Band("relative", 0.1, "step 1.05 to 1.1"),
)
def inscribed_circle_steps(
    near_feeder_mm: ArrayLike, far_end_mm: ArrayLike, step: ArrayLike = 1.1
) -> NDArray[np.float64]:
    """Return how many steps of growth lie between two inscribed circles.

    Parameters
    ----------
    near_feeder_mm : array_like
        Diameter of the inscribed circle near the feeder [mm].
    far_end_mm : array_like
        Diameter of the inscribed circle at the far end [mm].
    step : array_like
        Growth from one circle to the next [-].

    Returns
    -------
    array
        Number of steps; negative where the section narrows toward the feeder [-].
    """
    growth = np.asarray(near_feeder_mm, dtype=float) / np.asarray(far_end_mm, dtype=float)
    return np.log(growth) / np.log(np.asarray(step, dtype=float))
