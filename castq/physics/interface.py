"""Interface coefficient of a coated die: resistances in series."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castq.core.relation import Band, relation

Array = NDArray[np.float64]

SERIES = (
    "coating and gas layer in series after Griffiths and others 2004, Metallurgical and Materials Transactions B "
    "35:721 (structure read in its abstract; conductivities and gas layer are common practice)"
)


@relation(
    id="interface-contact",
    title="Interface coefficient of a coated die while the metal touches it",
    source=SERIES,
    provenance="derived",
    band=Band("relative", 0.4, "uncalibrated"),
    valid={"coating_um": (0.0, 400.0)},
)
def contact_coefficient(
    coating_um: ArrayLike,
    coating_k_w_mk: ArrayLike = 0.35,
    roughness_gas_um: ArrayLike = 15.0,
    gas_k_w_mk: ArrayLike = 0.05,
) -> Array:
    """Return the interface coefficient before the casting leaves the die.

    Parameters
    ----------
    coating_um : array_like
        Coating thickness [um].
    coating_k_w_mk : array_like
        Conductivity of the coating [W/mK]; insulating oxide coats 0.2 to 0.6.
    roughness_gas_um : array_like
        Gas layer held by the roughness [um].
    gas_k_w_mk : array_like
        Conductivity of that gas [W/mK].

    Returns
    -------
    array
        Interface coefficient [W/m2K].
    """
    coat = np.asarray(coating_um, dtype=float) / np.asarray(coating_k_w_mk, dtype=float)
    gas = np.asarray(roughness_gas_um, dtype=float) / np.asarray(gas_k_w_mk, dtype=float)
    return 1e6 / (coat + gas)


@relation(
    id="interface-gap",
    title="Interface coefficient once a gap has opened",
    source=SERIES + "; air gap added",
    provenance="derived",
    band=Band("relative", 0.4, "uncalibrated"),
    valid={"contact_w_m2k": (100.0, 20000.0), "gap_um": (0.0, 500.0)},
)
def gap_coefficient(contact_w_m2k: ArrayLike, gap_um: ArrayLike, air_k_w_mk: ArrayLike = 0.055) -> Array:
    """Return the interface coefficient after the casting has left the die.

    Parameters
    ----------
    contact_w_m2k : array_like
        Interface coefficient before the gap opened [W/m2K].
    gap_um : array_like
        Width of the gap [um].
    air_k_w_mk : array_like
        Conductivity of the hot air in it [W/mK].

    Returns
    -------
    array
        Interface coefficient [W/m2K].

    Notes
    -----
    Radiation is left out: between oxidised aluminium and steel at 500 degC it is of the order of 10 W/m2K.
    """
    gap = 1e-6 * np.asarray(gap_um, dtype=float) / np.asarray(air_k_w_mk, dtype=float)
    return 1.0 / (1.0 / np.asarray(contact_w_m2k, dtype=float) + gap)
