"""Material tables: names, values, sources, and what a plant's own table may not say."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from castq.core.errors import InputError
from castq.core.relation import PROVENANCE_WORDS
from castq.materials import (
    Alloy,
    alloy,
    alloy_names,
    alloys,
    coating,
    coatings,
    die_material,
    die_materials,
    find,
    load_alloys,
    load_coatings,
    load_die_materials,
)
from castq.materials.tables import ALLOY_VALUES, COATING_VALUES, DIE_VALUES

FOLDER = Path(__file__).parents[2] / "castq" / "materials"
ALLOY_TEXT = (FOLDER / "alloys.toml").read_text(encoding="utf-8")
FIRST_ALLOY = "[[alloy]]" + ALLOY_TEXT.split("[[alloy]]")[1]
DIE_TEXT = (FOLDER / "dies.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("A356", "AlSi7Mg0.3"),
        ("A356.2", "AlSi7Mg0.3"),
        ("ac4ch", "AlSi7Mg0.3"),
        ("EN AC-42100", "AlSi7Mg0.3"),
        ("enac-42100", "AlSi7Mg0.3"),
        (" Al Si7 Mg0.3 ", "AlSi7Mg0.3"),
        ("A357", "AlSi7Mg0.6"),
        ("EN AC-42200", "AlSi7Mg0.6"),
        ("EN AC-43300", "AlSi9Mg"),
        ("EN AC-43000", "AlSi10Mg"),
        ("EN AC-44000", "AlSi11"),
    ],
)
def test_a_name_of_the_trade_finds_its_alloy(name: str, expected: str) -> None:
    assert alloy(name).id == expected


@pytest.mark.parametrize("name", ["A355", "AlSi7", "EN AC 42100", "A356 alloy", "", "356", "AlSi7Mg0,3"])
def test_a_near_name_is_refused_with_suggestions(name: str) -> None:
    with pytest.raises(InputError, match=r"is not a known alloy; (did you mean|use one of)"):
        alloy(name)


def test_die_and_coating_names() -> None:
    assert die_material("1.2344").id == "H13"
    assert die_material("1.2343").id == "H11"
    assert die_material("c17510").id == "CuBe C17510"
    assert coating("bare").id == "none"
    with pytest.raises(InputError, match="did you mean H13"):
        die_material("H-13")
    with pytest.raises(InputError, match="is not a known coating"):
        coating("boron")


@pytest.mark.parametrize("entry", alloys().values(), ids=alloy_names())
def test_alloy_is_consistent(entry: Alloy) -> None:
    temp_c, fraction = entry.fraction_solid_temp_c, entry.fraction_solid
    assert (np.diff(temp_c) < 0).all() and (np.diff(fraction) >= 0).all()
    assert (temp_c[0], fraction[0]) == (entry.liquidus_c, 0.0)
    assert (temp_c[-1], fraction[-1]) == (entry.end_of_freezing_c, 1.0)
    assert entry.freezing_range_k == pytest.approx(entry.liquidus_c - entry.end_of_freezing_c)
    with pytest.raises(ValueError, match="read-only"):
        temp_c[0] = 0.0
    for element, content in entry.nominal_wt_pct.items():
        low, high = entry.composition_wt_pct[element]
        assert low <= content <= high


def test_values_of_a356() -> None:
    a356 = alloy("A356")
    assert a356.freezing_range_k == pytest.approx(58.0)
    assert a356.latent_heat_kj_kg == 430.0
    assert a356.shrinkage_pct == 5.27
    assert a356.cutoff_fs == 0.68
    # Fraction solid at 600 and 570 degC, and just above the last eutectic.
    read = np.interp([558.0, 570.0, 600.0], a356.fraction_solid_temp_c[::-1], a356.fraction_solid[::-1])
    np.testing.assert_allclose(read, [0.963, 0.876, 0.276])
    assert a356.heat_treatable and not alloy("AlSi11").heat_treatable


def test_more_silicon_freezes_later_with_more_heat_and_less_shrinkage() -> None:
    order = [alloy(name) for name in ("AlSi7Mg0.3", "AlSi9Mg", "AlSi10Mg", "AlSi11")]
    assert (np.diff([a.liquidus_c for a in order]) < 0).all()
    assert (np.diff([a.latent_heat_kj_kg for a in order]) > 0).all()
    assert (np.diff([a.shrinkage_pct for a in order]) < 0).all()
    assert (np.diff([a.cutoff_fs for a in order]) < 0).all()


def test_diffusivity_of_the_die_materials_stands_in_the_right_order() -> None:
    effusivity = {name: float(np.sqrt(d.k_w_mk * d.density_kg_m3 * d.cp_j_kgk)) for name, d in die_materials().items()}
    # Ten thousand eight hundred for H13, about a thousand for sand, more than twenty thousand for copper-beryllium.
    assert effusivity["H13"] == pytest.approx(10_800, rel=0.01)
    assert effusivity["resin-bonded silica sand"] == pytest.approx(1017, rel=0.01)
    assert effusivity["grey iron"] == pytest.approx(12_900, rel=0.01)
    assert effusivity["CuBe C17200"] == pytest.approx(20_900, rel=0.01)


def test_every_value_names_its_source() -> None:
    wanted = [(alloys(), ALLOY_VALUES), (die_materials(), DIE_VALUES), (coatings(), COATING_VALUES)]
    for records, names in wanted:
        for record in records.values():
            assert set(names) <= set(record.sources)
            for sourced in record.sources.values():
                assert len(sourced.source) > 8 and sourced.provenance in PROVENANCE_WORDS
                assert 0.0 <= sourced.one_sigma <= 0.5


def load(tmp_path: Path, text: str, reader: Callable[[Path], object] = load_alloys) -> object:
    path = tmp_path / "plant.toml"
    path.write_text(text, encoding="utf-8")
    return reader(path)


def test_a_plant_may_add_its_own_alloy(tmp_path: Path) -> None:
    own = load(tmp_path, FIRST_ALLOY.replace('id = "AlSi7Mg0.3"', 'id = "Plant 7"'))
    assert isinstance(own, dict) and list(own) == ["Plant 7"]
    assert find("plant7", own, "alloy").liquidus_c == 615.8


@pytest.mark.parametrize("name", ["missing.toml", ".", "/dev/zero", "a" * 300 + ".toml", "a\0b.toml"])
def test_an_unreadable_table_is_an_input_error(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        load_alloys(tmp_path / name)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("Mg = 0.35", "Mg = 35", "nominal_wt_pct.Mg: 35 wt% is out of range.*did you mean 0.35 wt%"),
        ("Si = 7,", "Si = 70,", "Si: 70 wt% is out of range"),
        ("Mg = 0.35", "Mg = 0.5", "0.5 wt% lies outside its own range"),
        ("Mg = 0.35", "Mh = 0.35", "Mh: is not an element castq knows here"),
        ("Si = 7, ", "", "Si: is missing"),
        ("Fe = 0.1,", "Fe = nan,", "Fe: is not finite"),
        ("Fe = 0.1,", "Fe = true,", "Fe: is true/false; expected a plain number"),
        ("Mg = [0.25, 0.45]", "Mg = [0.45, 0.25]", "is not a range"),
        (
            "latent_heat_kj_kg =",
            "latent_heat =",
            "latent_heat: is not a key castq knows; did you mean latent_heat_kj_kg",
        ),
        ("{ value = 430.0", "{ value = -430.0", "latent_heat_kj_kg.value: -430 kJ/kg is out of range"),
        ("{ value = 430.0", "{ value = 430000.0", "430000 kJ/kg is out of range"),
        ("{ value = 430.0", '{ value = "430"', "value: is text; expected a plain number"),
        ("{ value = 430.0", "{ value = inf", "value: is not finite"),
        ("{ value = 615.8", "{ value = 570.0", "are out of order"),
        ("{ value = 615.8", "{ value = 616.5", "runs from 615.8 to 557.8 degC"),
        ("0.018, 0.084", "0.084, 0.018", "does not rise from 0 to 1"),
        ("0.963, 1]", "0.963, 0.97]", "does not rise from 0 to 1"),
        ("615, 612, 610", "612, 615, 610", "does not fall from one to the next"),
        ("615.8, 615, 612", "615.8, 612", "has 21 numbers for 20 temperatures"),
        ("[0, 0.018", "[0, 1.8", "1.8 is out of range"),
        ('provenance = "memory"', 'provenance = "rumour"', "'rumour' is not known here"),
        (", one_sigma = 0.003", "", "liquidus_c.one_sigma: is missing"),
        ("{ value = 0.22", "{ value = 0.70", "coherency_fs"),
        ("heat_treatable = true", "heat_treatable = 1", "heat_treatable: is a number; expected true or false"),
        ('id = "AlSi7Mg0.3"', "", "id: is missing"),
        ("[[alloy]]", "[[aloy]]", "did you mean alloy"),
        ("[[alloy]]", "[alloy]", "alloy: is a table; expected a list of tables"),
        ("[alloy.composition]", "[alloy.compositions]", "composition: is missing"),
    ],
)
def test_a_wrong_alloy_table_is_refused_in_one_sentence(tmp_path: Path, old: str, new: str, said: str) -> None:
    text = FIRST_ALLOY.replace(old, new, 1)
    assert text != FIRST_ALLOY
    with pytest.raises(InputError, match=said) as caught:
        load(tmp_path, text)
    assert all(fault.source.endswith("plant.toml") and fault.mend for fault in caught.value.faults)


def test_all_faults_are_told_at_once(tmp_path: Path) -> None:
    text = FIRST_ALLOY.replace("Mg = 0.35", "Mg = 35").replace("{ value = 430.0", "{ value = 0").replace("id =", "ID =")
    with pytest.raises(InputError) as caught:
        load(tmp_path, text)
    assert len(caught.value.faults) == 4


def test_one_name_for_two_materials_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="share the name 'a356'"):
        load(tmp_path, FIRST_ALLOY + FIRST_ALLOY.replace('id = "AlSi7Mg0.3"', 'id = "B"'))


@pytest.mark.parametrize(("field", "value"), [("27.0", "0"), ("27.0", "1e9"), ("7700.0", "7.7"), ("560.0", "-1")])
def test_absurd_die_materials_are_refused(tmp_path: Path, field: str, value: str) -> None:
    with pytest.raises(InputError, match="is out of range"):
        load(tmp_path, DIE_TEXT.replace(f"value = {field}", f"value = {value}", 1), load_die_materials)


def test_absurd_coatings_are_refused(tmp_path: Path) -> None:
    text = (FOLDER / "coatings.toml").read_text(encoding="utf-8")
    with pytest.raises(InputError, match=r"thickness_um\.value: 150000 um is out of range"):
        load(tmp_path, text.replace("value = 150.0", "value = 150000.0"), load_coatings)


def test_an_empty_table_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"holds no \[\[alloy\]\] table"):
        load(tmp_path, "# nothing\n")
