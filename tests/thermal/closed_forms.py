"""Closed forms of conduction and freezing, written apart from castq and solved to round-off.

Carslaw and Jaeger, Conduction of Heat in Solids, 1959: Stefan and Neumann 11.2, film on a half space 2.7, slab and
ball with a film 3.11 and 9.4; metal against a mould that warms: Schwarz, Z. angew. Math. Mech. 13 (1933)
202; lumped cooling: Newton; film and frozen layer in series: Adams, as in Geiger and Poirier, Transport Phenomena in
Metallurgy, 1973.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import erf, erfc, erfcx

from castq.materials.types import Alloy

Array = NDArray[np.float64]
TERMS = 60


def stefan_root(stefan: float) -> float:
    """Return lambda of lambda exp(lambda^2) erf(lambda) = St / sqrt(pi)."""
    return float(brentq(lambda x: x * np.exp(x * x) * erf(x) - stefan / np.sqrt(np.pi), 1e-9, 5.0, xtol=1e-15))


def neumann_root(metal: Alloy, melt_c: float, bath_c: float) -> float:
    """Return lambda of a metal above its freezing temperature whose face is held at a temperature."""
    freezing, latent = metal.end_of_freezing_c, 1e3 * metal.latent_heat_kj_kg
    v = np.sqrt(metal.k_solid_w_mk / metal.cp_solid_j_kgk / (metal.k_liquid_w_mk / metal.cp_liquid_j_kgk))

    def balance(x: float) -> float:
        solid = metal.cp_solid_j_kgk * (freezing - bath_c) * np.exp(-(x**2)) / erf(x)
        liquid = metal.cp_liquid_j_kgk * (melt_c - freezing) * np.exp(-((v * x) ** 2)) / erfc(v * x) / v
        return float(solid - liquid - latent * x * np.sqrt(np.pi))

    return float(brentq(balance, 1e-6, 3.0, xtol=1e-14))


def neumann_temp_c(metal: Alloy, melt_c: float, bath_c: float, share_of_front: float) -> float:
    """Return the temperature at a share of the depth of the front, the same at all times [degC]."""
    root = neumann_root(metal, melt_c, bath_c)
    freezing = metal.end_of_freezing_c
    if share_of_front <= 1.0:
        return float(bath_c + (freezing - bath_c) * erf(share_of_front * root) / erf(root))
    v = np.sqrt(metal.k_solid_w_mk / metal.cp_solid_j_kgk / (metal.k_liquid_w_mk / metal.cp_liquid_j_kgk))
    return float(melt_c - (melt_c - freezing) * erfc(v * share_of_front * root) / erfc(v * root))


def schwarz(metal: Alloy, mould: tuple[float, float], start_c: float) -> tuple[float, float]:
    """Return lambda and the face temperature [degC] of metal at freezing against a mould (k, heat capacity)."""
    e_metal = np.sqrt(metal.k_solid_w_mk * metal.density_kg_m3 * metal.cp_solid_j_kgk)
    e_mould, freezing = np.sqrt(mould[0] * mould[1]), metal.end_of_freezing_c

    def face(x: float) -> float:
        return float((e_metal * freezing + e_mould * start_c * erf(x)) / (e_metal + e_mould * erf(x)))

    def balance(x: float) -> float:
        latent = 1e3 * metal.latent_heat_kj_kg * np.sqrt(np.pi) / metal.cp_solid_j_kgk
        return float((freezing - face(x)) * np.exp(-(x**2)) / erf(x) - x * latent)

    root = float(brentq(balance, 1e-6, 2.0, xtol=1e-14))
    return root, face(root)


def front_time_s(metal: Alloy, root: float, depth_mm: float) -> float:
    """Return when a front x = 2 root sqrt(a t) has passed a depth [s]."""
    diffusivity = metal.k_solid_w_mk / (metal.density_kg_m3 * metal.cp_solid_j_kgk)
    return float((1e-3 * depth_mm) ** 2 / (4.0 * root**2 * diffusivity))


def half_space_share(depth_mm: float, seconds: float, film_w_m2k: float, body: tuple[float, float]) -> float:
    """Return the share of the fluid's excess that a half space (k, heat capacity) has reached at a depth [-]."""
    k, diffusivity = body[0], body[0] / body[1]
    eta = 1e-3 * depth_mm / (2.0 * np.sqrt(diffusivity * seconds))
    beta = film_w_m2k * np.sqrt(diffusivity * seconds) / k
    return float(erfc(eta) - np.exp(-(eta**2)) * erfcx(eta + beta))


def slab_middle(biot: float, fourier: float) -> float:
    """Return the share of the first excess left in the middle of a slab with a film on both faces [-]."""
    z = np.array([brentq(lambda x: x * np.sin(x) - biot * np.cos(x), n * np.pi, (n + 0.5) * np.pi, xtol=1e-15)
                  for n in range(TERMS)])  # fmt: skip
    return float(np.sum(4.0 * np.sin(z) / (2.0 * z + np.sin(2.0 * z)) * np.exp(-(z**2) * fourier)))


def ball_middle(biot: float, fourier: float) -> float:
    """Return the share of the first excess left in the middle of a ball with a film [-]."""
    z = np.array([brentq(lambda x: x * np.cos(x) - (1.0 - biot) * np.sin(x), n * np.pi + 1e-9, (n + 1) * np.pi,
                         xtol=1e-15) for n in range(TERMS)])  # fmt: skip
    parts = 4.0 * (np.sin(z) - z * np.cos(z)) / (2.0 * z - np.sin(2.0 * z))
    return float(np.sum(parts * np.exp(-(z**2) * fourier)))


def adams_time_s(metal: Alloy, depth_mm: float, film_w_m2k: float, die_c: float) -> float:
    """Return when a layer is frozen through a film on a die that stays cold; no heat is counted but the latent [s]."""
    depth = 1e-3 * depth_mm
    heat = metal.density_kg_m3 * 1e3 * metal.latent_heat_kj_kg / (metal.end_of_freezing_c - die_c)
    return float(heat * (depth / film_w_m2k + depth**2 / (2.0 * metal.k_solid_w_mk)))


def lumped_time_s(heat_j_m2k: float, film_w_m2k: float, temps_c: tuple[float, float, float]) -> float:
    """Return the time of a thin body, by its heat capacity, from a first to a last temperature in surroundings [s]."""
    first, last, around = temps_c
    return float(heat_j_m2k / film_w_m2k * np.log((first - around) / (last - around)))
