"""Purge gas in a melt: how full of hydrogen bubbles leave, what they carry out, and how much gas it takes.

Between its two limits lies the rate: diffusion through the metal while bubbles leave nearly empty, and the gas itself
once they leave in balance with the melt. The form follows Sigworth and Engh 1982.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import lambertw

from castq.core.relation import EXACT, Band, relation

# Metal that a rate per minute refers to: 60 s/min over 2400 kg/m3 makes k = 60 * rho * kA / M.
_LIQUID_KG_M3 = 2400.0
_POINTS = 48


@relation(
    id="purge-gas-diffusion-rate",
    title="Rate of degassing when diffusion in the metal controls",
    source="mass transfer through the bubble surface with metal of 2400 kg/m3, after Sigworth and Engh 1982, "
    "Metallurgical Transactions B 13B:447",
    provenance="derived",
    band=Band("factor", 2.0, "bubble size and transfer coefficient are seldom known"),
    valid={"transfer_m3_s": (0.0, 0.01), "melt_kg": (20.0, 20000.0)},
)
def diffusion_rate(transfer_m3_s: ArrayLike, melt_kg: ArrayLike) -> NDArray[np.float64]:
    """Return the first-order rate of bubbles that leave nearly empty.

    Parameters
    ----------
    transfer_m3_s : array_like
        Transfer coefficient times the surface of all bubbles [m3/s].
    melt_kg : array_like
        Melt [kg].

    Returns
    -------
    array
        Rate [1/min].
    """
    return 60.0 * _LIQUID_KG_M3 * np.asarray(transfer_m3_s, dtype=float) / np.asarray(melt_kg, dtype=float)


@relation(
    id="purge-gas-transfer-hydrogen",
    title="Hydrogen at which purge gas passes from diffusion control to balance",
    source="psi of Sigworth and Engh 1982, Metallurgical Transactions B 13B:447, written with the diffusion rate",
    provenance="derived",
    band=Band("factor", 2.0, "that of the diffusion rate"),
    valid={"diffusion_rate_per_min": (0.0, 2.0), "gas_flow_nl_min": (1.0, 200.0)},
)
def transfer_hydrogen(
    diffusion_rate_per_min: ArrayLike,
    melt_kg: ArrayLike,
    gas_flow_nl_min: ArrayLike,
    solubility_ml_100g: ArrayLike,
) -> NDArray[np.float64]:
    """Return psi, the hydrogen that a melt is compared with to tell what controls its degassing.

    Parameters
    ----------
    diffusion_rate_per_min : array_like
        Rate when diffusion in the metal controls [1/min].
    melt_kg : array_like
        Melt [kg].
    gas_flow_nl_min : array_like
        Gas flow at 0 degC and 1 atm [l/min].
    solubility_ml_100g : array_like
        Solubility of the alloy at 1 atm [ml/100g].

    Returns
    -------
    array
        psi [ml/100g].

    Notes
    -----
    psi/H well below 0.1: diffusion controls. psi/H well above 1: the gas leaves in balance and only more gas helps.
    """
    capacity = np.asarray(melt_kg, dtype=float) * np.square(np.asarray(solubility_ml_100g, dtype=float))
    rate = np.asarray(diffusion_rate_per_min, dtype=float)
    return rate * capacity / (200.0 * np.asarray(gas_flow_nl_min, dtype=float))


@relation(
    id="purge-gas-saturation",
    title="Saturation of the leaving bubble",
    source="hydrogen balance of a rising bubble, after Sigworth and Engh 1982, Metallurgical Transactions B 13B:447",
    provenance="derived",
    band=EXACT,
    valid={"psi_over_h": (0.0, 1000.0)},
)
def purge_gas_saturation(psi_over_h: ArrayLike) -> NDArray[np.float64]:
    """Return y, the root of -ln(1 - y) - y = psi/H: hydrogen in balance with the leaving gas over that of the melt.

    Parameters
    ----------
    psi_over_h : array_like
        psi over hydrogen of the melt [-].

    Returns
    -------
    array
        Saturation; its square is the share of the gas that is used [-].

    Notes
    -----
    y = 1 + W(-exp(-1 - psi/H)) with Lambert's W; its series sqrt(2x) - 2x/3 + ... where that form loses digits.
    """
    ratio = np.asarray(psi_over_h, dtype=float)
    root = np.sqrt(2.0 * ratio)
    series = root * (1.0 - root * (1.0 / 3.0 - root / 36.0))
    return np.where(ratio < 1e-7, series, 1.0 + np.real(lambertw(-np.exp(-1.0 - ratio), 0)))


@relation(
    id="purge-gas-rate",
    title="Hydrogen that purge gas carries out in a minute",
    source="purge gas balance with the saturation of the leaving bubble, after Sigworth and Engh 1982, Metallurgical "
    "Transactions B 13B:447",
    provenance="derived",
    band=Band("factor", 1.5, "that of the diffusion rate, less where the gas controls"),
    valid={"hydrogen_ml_100g": (0.02, 1.0), "gas_per_melt_nl_min_kg": (0.001, 1.0)},
)
def purge_gas_rate(
    hydrogen_ml_100g: ArrayLike,
    diffusion_rate_per_min: ArrayLike,
    gas_per_melt_nl_min_kg: ArrayLike,
    solubility_ml_100g: ArrayLike,
) -> NDArray[np.float64]:
    """Return how fast hydrogen falls by purge gas alone.

    Parameters
    ----------
    hydrogen_ml_100g : array_like
        Hydrogen of the melt [ml/100g].
    diffusion_rate_per_min : array_like
        Rate when diffusion in the metal controls [1/min].
    gas_per_melt_nl_min_kg : array_like
        Gas flow at 0 degC and 1 atm over the melt [l/(min kg)].
    solubility_ml_100g : array_like
        Solubility of the alloy at 1 atm [ml/100g].

    Returns
    -------
    array
        Fall of hydrogen per minute, positive [ml/100g per min].

    Notes
    -----
    100 (G/M) (H y/S)^2. Tends to k H where diffusion controls and to 100 (G/M) (H/S)^2 where the gas does.
    """
    hydrogen, gas = np.asarray(hydrogen_ml_100g, dtype=float), np.asarray(gas_per_melt_nl_min_kg, dtype=float)
    solubility = np.asarray(solubility_ml_100g, dtype=float)
    psi = transfer_hydrogen(diffusion_rate_per_min, 1.0, gas, solubility)
    return 100.0 * gas * np.square(hydrogen * purge_gas_saturation(psi / hydrogen) / solubility)


@relation(
    id="purge-gas-need",
    title="Least purge gas for each litre of hydrogen",
    source="Sieverts' law: gas that leaves in balance with the melt",
    provenance="derived",
    band=Band("relative", 0.16, "twice that of the solubility"),
    valid={"hydrogen_ml_100g": (0.02, 1.0), "efficiency": (0.01, 1.0)},
)
def gas_need(
    hydrogen_ml_100g: ArrayLike, solubility_ml_100g: ArrayLike, efficiency: ArrayLike = 1.0
) -> NDArray[np.float64]:
    """Return litres of purge gas that carry out one litre of hydrogen.

    Parameters
    ----------
    hydrogen_ml_100g : array_like
        Hydrogen of the melt [ml/100g].
    solubility_ml_100g : array_like
        Solubility of the alloy at 1 atm [ml/100g].
    efficiency : array_like
        Share of what gas in balance with the melt would carry [-].

    Returns
    -------
    array
        Gas over hydrogen, by volume [-].
    """
    ratio = np.asarray(solubility_ml_100g, dtype=float) / np.asarray(hydrogen_ml_100g, dtype=float)
    return np.square(ratio) / np.asarray(efficiency, dtype=float)


@relation(
    id="purge-gas-minutes-balanced",
    title="Minutes to a target when the purge gas leaves with a fixed share of balance",
    source="dH/dt = -100 G E/(M S^2) (H^2 - floor^2), solved for time",
    provenance="derived",
    band=Band("relative", 0.2, "solubility squared and share of balance"),
    valid={"gas_per_melt_nl_min_kg": (0.001, 1.0)},
)
def balanced_minutes(
    start_ml_100g: ArrayLike,
    target_ml_100g: ArrayLike,
    floor_ml_100g: ArrayLike,
    gas_per_melt_nl_min_kg: ArrayLike,
    solubility_ml_100g: ArrayLike,
    efficiency: ArrayLike = 1.0,
) -> NDArray[np.float64]:
    """Return the minutes to a target that the gas alone would need: the least possible at efficiency 1.

    Parameters
    ----------
    start_ml_100g : array_like
        Hydrogen now [ml/100g].
    target_ml_100g : array_like
        Target [ml/100g].
    floor_ml_100g : array_like
        Level below which treating longer does not go [ml/100g].
    gas_per_melt_nl_min_kg : array_like
        Gas flow at 0 degC and 1 atm over the melt [l/(min kg)].
    solubility_ml_100g : array_like
        Solubility of the alloy at 1 atm [ml/100g].
    efficiency : array_like
        Share of what gas in balance with the melt would carry [-].

    Returns
    -------
    array
        Minutes: 0 at or below the target, infinite when the target is not above the floor [min].
    """
    start, target, floor = (np.asarray(x, dtype=float) for x in (start_ml_100g, target_ml_100g, floor_ml_100g))
    strength = 100.0 * np.asarray(gas_per_melt_nl_min_kg, dtype=float) * np.asarray(efficiency, dtype=float)
    strength = strength / np.square(np.asarray(solubility_ml_100g, dtype=float))
    with np.errstate(divide="ignore", invalid="ignore"):
        lost = np.log((start - floor) * (target + floor) / ((start + floor) * (target - floor))) / (2.0 * floor)
        minutes = np.where(floor > 1e-9, lost, 1.0 / target - 1.0 / start) / strength
    return np.where(start <= target, 0.0, np.where(target > floor, minutes, np.inf))


@relation(
    id="purge-gas-minutes",
    title="Minutes to a target by the purge gas model",
    source="purge gas rate after Sigworth and Engh 1982, Metallurgical Transactions B 13B:447, with the constant "
    "inflow that balances it at the floor, integrated",
    provenance="derived",
    band=Band("factor", 1.5, "that of the diffusion rate"),
    valid={"gas_per_melt_nl_min_kg": (0.001, 1.0), "diffusion_rate_per_min": (0.0, 2.0)},
)
def purge_gas_minutes(
    start_ml_100g: ArrayLike,
    target_ml_100g: ArrayLike,
    floor_ml_100g: ArrayLike,
    diffusion_rate_per_min: ArrayLike,
    gas_per_melt_nl_min_kg: ArrayLike,
    solubility_ml_100g: ArrayLike,
) -> NDArray[np.float64]:
    """Return the minutes to a target when neither diffusion nor the gas alone controls.

    Parameters
    ----------
    start_ml_100g : array_like
        Hydrogen now [ml/100g].
    target_ml_100g : array_like
        Target [ml/100g].
    floor_ml_100g : array_like
        Level below which treating longer does not go [ml/100g].
    diffusion_rate_per_min : array_like
        Rate when diffusion in the metal controls [1/min].
    gas_per_melt_nl_min_kg : array_like
        Gas flow at 0 degC and 1 atm over the melt [l/(min kg)].
    solubility_ml_100g : array_like
        Solubility of the alloy at 1 atm [ml/100g].

    Returns
    -------
    array
        Minutes: 0 at or below the target, infinite when the target is not above the floor [min].

    Notes
    -----
    Integral of dH/(rate(H) - rate(floor)), by 48 Gauss points in the logarithm of H - floor, in which it is smooth.
    """
    names = np.broadcast_arrays(start_ml_100g, target_ml_100g, floor_ml_100g, diffusion_rate_per_min,
                                gas_per_melt_nl_min_kg, solubility_ml_100g)  # fmt: skip
    start, target, floor, rate, gas, solubility = (np.asarray(x, dtype=float)[..., None] for x in names)
    done, open_end = start <= target, target <= floor
    low = np.log(np.where(done | open_end, 1.0, target - floor))
    high = np.log(np.where(done | open_end, 1.0, start - floor))
    nodes, weights = np.polynomial.legendre.leggauss(_POINTS)
    distance = np.exp(low + (high - low) * (0.5 + 0.5 * nodes))
    inflow = np.where(floor > 0.0, purge_gas_rate(np.maximum(floor, 1e-9), rate, gas, solubility), 0.0)
    slope = purge_gas_rate(floor + distance, rate, gas, solubility) - inflow
    minutes = (0.5 * (high - low) * weights * distance / slope).sum(axis=-1)
    return np.where(done[..., 0], 0.0, np.where(open_end[..., 0], np.inf, minutes))
