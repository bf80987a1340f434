"""Material records: plain values with their sources beside them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castq.core.relation import Provenance


@dataclass(frozen=True, slots=True)
class Sourced:
    """Where a value comes from.

    Attributes
    ----------
    source : str
        Author, year, place, in words.
    provenance : Provenance
        Whether it was read, remembered, derived or is common practice.
    one_sigma : float
        One standard deviation, as a share of the value [-].
    """

    source: str
    provenance: Provenance
    one_sigma: float


@dataclass(frozen=True, slots=True, eq=False)
class Alloy:
    """A casting alloy.

    Attributes
    ----------
    id : str
        castq's name, for example `AlSi7Mg0.3`.
    aliases : tuple of str
        Other names of the trade and of standards.
    composition_wt_pct : mapping of element to (low, high)
        Composition range [wt%].
    nominal_wt_pct : mapping of element to float
        Nominal composition [wt%].
    liquidus_c, eutectic_c, end_of_freezing_c : float
        Temperatures at the nominal composition [degC].
    latent_heat_kj_kg : float
        Latent heat of the whole freezing range [kJ/kg].
    cp_solid_j_kgk, cp_liquid_j_kgk, k_solid_w_mk, k_liquid_w_mk : float
        Heat capacity [J/kgK] and conductivity [W/mK].
    density_kg_m3 : float
        The one density used in heat balances [kg/m3].
    density_cold_kg_m3 : float
        Pore-free density at 20 degC [kg/m3].
    shrinkage_pct : float
        Solidification shrinkage, volume, relative to solid [%].
    coherency_fs, cutoff_fs : float
        Fraction solid at coherency, and where feed metal stops passing [-].
    fraction_solid_temp_c, fraction_solid : array (n,)
        Fraction-solid table, temperature falling from liquidus to end of freezing [degC], fraction rising 0 to 1 [-];
        the last point is at the end of freezing, where the fraction jumps to 1.
    heat_treatable : bool
        False when the ageing relations do not apply (no magnesium to speak of).
    sources : mapping of field name to Sourced
        Source of each value.
    """

    id: str
    aliases: tuple[str, ...]
    composition_wt_pct: Mapping[str, tuple[float, float]]
    nominal_wt_pct: Mapping[str, float]
    liquidus_c: float
    eutectic_c: float
    end_of_freezing_c: float
    latent_heat_kj_kg: float
    cp_solid_j_kgk: float
    cp_liquid_j_kgk: float
    k_solid_w_mk: float
    k_liquid_w_mk: float
    density_kg_m3: float
    density_cold_kg_m3: float
    shrinkage_pct: float
    coherency_fs: float
    cutoff_fs: float
    fraction_solid_temp_c: NDArray[np.float64]
    fraction_solid: NDArray[np.float64]
    heat_treatable: bool
    sources: Mapping[str, Sourced]

    @property
    def freezing_range_k(self) -> float:
        """Liquidus less end of freezing [K]."""
        return self.liquidus_c - self.end_of_freezing_c


@dataclass(frozen=True, slots=True, eq=False)
class DieMaterial:
    """A die, core or chill material: conductivity [W/mK], density [kg/m3], heat capacity [J/kgK] at working heat."""

    id: str
    aliases: tuple[str, ...]
    k_w_mk: float
    density_kg_m3: float
    cp_j_kgk: float
    sources: Mapping[str, Sourced]


@dataclass(frozen=True, slots=True, eq=False)
class Coating:
    """A die coating: conductivity [W/mK], usual thickness [um], gas layer of its roughness [um]."""

    id: str
    aliases: tuple[str, ...]
    k_w_mk: float
    thickness_um: float
    roughness_gas_um: float
    sources: Mapping[str, Sourced]
