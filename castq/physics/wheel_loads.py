"""Loads of laboratory wheel tests, as conditions of use only: castq claims no compliance with any of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import EXACT, relation

STANDARD_GRAVITY_M_S2 = 9.80665


@relation(
    id="wheel-cornering-moment",
    title="Bending moment of the cornering test (condition of use only; castq claims no compliance)",
    source="SAE J328 (2021), as reported by a test laboratory; cast aluminium S 2.0 front, 1.75 rear, friction 0.7",
    provenance="read",
    band=EXACT,
)
def cornering_moment(
    wheel_load_kg: ArrayLike,
    static_radius_m: ArrayLike,
    inset_m: ArrayLike,
    load_factor: ArrayLike = 2.0,
    friction: ArrayLike = 0.7,
) -> NDArray[np.float64]:
    """Return the moment that the cornering test puts on the mounting face.

    Parameters
    ----------
    wheel_load_kg : array_like
        Half the largest axle load, as a mass [kg].
    static_radius_m : array_like
        Static loaded radius of the largest tyre [m].
    inset_m : array_like
        Inset of the mounting face, positive inboard [m].
    load_factor : array_like
        Accelerated test factor S [-].
    friction : array_like
        Friction between tyre and road [-].

    Returns
    -------
    array
        Moment [N m].
    """
    force = np.asarray(wheel_load_kg, dtype=float) * STANDARD_GRAVITY_M_S2
    arm = np.asarray(static_radius_m, dtype=float) * np.asarray(friction, dtype=float) + np.asarray(
        inset_m, dtype=float
    )
    return np.asarray(force * arm * np.asarray(load_factor, dtype=float))


@relation(
    id="wheel-impact-striker-mass",
    title="Striker mass of the lateral impact test (condition of use only; castq claims no compliance)",
    source="SAE J175 and ISO 7141, striker 0.6 W + 180 kg",
    provenance="read",
    band=EXACT,
)
def impact_striker_mass(wheel_load_kg: ArrayLike) -> NDArray[np.float64]:
    """Return the striker mass for a wheel load.

    Parameters
    ----------
    wheel_load_kg : array_like
        Largest static wheel load, as a mass [kg].

    Returns
    -------
    array
        Striker mass [kg].
    """
    return 0.6 * np.asarray(wheel_load_kg, dtype=float) + 180.0


@relation(
    id="wheel-impact-energy",
    title="Energy of the lateral impact test (condition of use only; castq claims no compliance)",
    source="SAE J175 and ISO 7141, free fall of 230 mm",
    provenance="read",
    band=EXACT,
)
def impact_energy(striker_mass_kg: ArrayLike, drop_height_mm: ArrayLike = 230.0) -> NDArray[np.float64]:
    """Return the energy of the striker when it meets the rim.

    Parameters
    ----------
    striker_mass_kg : array_like
        Striker mass [kg].
    drop_height_mm : array_like
        Height of free fall [mm].

    Returns
    -------
    array
        Energy [J].
    """
    weight = np.asarray(striker_mass_kg, dtype=float) * STANDARD_GRAVITY_M_S2
    return np.asarray(weight * np.asarray(drop_height_mm, dtype=float) * 1e-3)
