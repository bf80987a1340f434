"""Limits and identities of the freezing metal; outside values stand in `datasets/published/checks_metal.csv`."""

from __future__ import annotations

import numpy as np
import pytest

from castq.core.relation import REGISTRY, trace
from castq.materials import Alloy, alloys
from castq.physics import metal


@pytest.mark.parametrize("entry", alloys().values(), ids=list(alloys()))
def test_relations_agree_with_the_material_table(entry: Alloy) -> None:
    silicon, magnesium = entry.nominal_wt_pct["Si"], entry.nominal_wt_pct["Mg"]
    assert metal.liquidus_temperature(silicon, magnesium) == pytest.approx(entry.liquidus_c, abs=0.4)
    assert metal.latent_heat(silicon) == pytest.approx(entry.latent_heat_kj_kg)
    assert metal.solidification_shrinkage(silicon) == pytest.approx(entry.shrinkage_pct, abs=0.005)
    # The simple equation stays near the calculated table while only aluminium freezes.
    temp_c = np.linspace(entry.eutectic_c + 3.0, entry.liquidus_c, 20)
    table = np.interp(temp_c, entry.fraction_solid_temp_c[::-1], entry.fraction_solid[::-1])
    np.testing.assert_allclose(metal.scheil_fraction_solid(temp_c, silicon), table, atol=0.07)


def test_fraction_solid_falls_with_temperature_and_with_silicon() -> None:
    temp_c = np.linspace(577.0, 700.0, 200)
    fraction = metal.scheil_fraction_solid(temp_c, 7.0)
    assert (np.diff(fraction) <= 0).all() and fraction.min() == 0.0 and fraction.max() < 1.0
    assert metal.scheil_fraction_solid(590.0, 9.0) < metal.scheil_fraction_solid(590.0, 7.0)


def test_primary_and_eutectic_make_up_the_whole() -> None:
    # At the temperature where the straight liquidus reaches 12.6 wt%, what is not primary is eutectic.
    temp_c = metal.MELTING_POINT_AL_C + metal.LIQUIDUS_SLOPE_K * metal.EUTECTIC_SI_WT_PCT
    silicon = np.array([5.0, 7.0, 9.0, 11.0])
    whole = metal.scheil_fraction_solid(temp_c, silicon) + metal.eutectic_fraction_scheil(silicon)
    np.testing.assert_allclose(whole, 1.0, rtol=1e-12)


def test_the_lever_rule_leaves_less_eutectic() -> None:
    silicon = np.linspace(2.0, 12.5, 50)
    assert (metal.eutectic_fraction_lever(silicon) < metal.eutectic_fraction_scheil(silicon)).all()


def test_arrays_broadcast_natively() -> None:
    assert metal.scheil_fraction_solid(np.full((3, 1), 600.0), np.full((1, 4), 7.0)).shape == (3, 4)
    assert metal.heat_to_freeze(np.full(5, 700.0), 615.0, 558.0, 430.0).shape == (5,)


def test_use_outside_the_range_is_noted() -> None:
    with trace() as seen:
        metal.liquidus_temperature([7.0, 20.0], 0.3)
    assert seen.used == {"liquidus-al-si-mg": 1}
    assert seen.excursions["liquidus-al-si-mg", "silicon_wt_pct"].tolist() == [0, 3]


def test_every_relation_of_this_file_names_its_source() -> None:
    own = [entry for entry in REGISTRY.values() if entry.function.__module__ == metal.__name__]
    assert len(own) == 9
    assert all(len(entry.source) > 20 for entry in own)
