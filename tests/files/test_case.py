"""The case file: what it says arrives in the right units, what it leaves out is listed, what is wrong is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from castq.core.errors import InputError
from castq.core.quantities import KINDS
from castq.files.case import CaseFile, build_case, case_from_source, read_case
from castq.files.case_defaults import DEFAULTS, HOUSE_LIMITS, house_limits
from castq.files.case_tables import LIMITS
from castq.geometry.roles import ROLES
from castq.materials import alloy_names
from castq.screening.columns import BY_NAME
from castq.screening.types import InputFile, Section
from castq.screening.uncertain import BY_NAME as UNCERTAIN
from tests.files.case_corpus import FULL, MINIMAL, WRONG, Wrong


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "wheel.stl").write_bytes(b"stands for a shape")
    return tmp_path


def read(folder: Path, text: str, alloy: str = "") -> CaseFile:
    path = folder / "case.toml"
    path.write_text(text, encoding="utf-8")
    return read_case(path, alloy=alloy)


def test_every_value_arrives_in_its_unit(folder: Path) -> None:
    case = read(folder, FULL)
    assert (case.name, case.alloy.id, case.geometry) == ("Demo wheel, spoke A", "AlSi7Mg0.3", folder / "wheel.stl")
    assert case.section_table is None
    assert (case.units, case.body, case.voxel_mm) == ("mm", "wheel", 2.5)
    assert (case.axis, case.outboard) == ((0.0, 0.0, 1.0), 1)
    box = case.overrides[0]
    assert (box.role, box.radius_mm, box.height_mm) == ("hub", (0.0, 75.0), (-20.0, 40.0))
    assert case.tool.route == "low-pressure" and case.tool.die.id == "H11" and case.tool.rim_flow_formed
    assert case.tool.die_temp_c == dict.fromkeys(ROLES, 360.0) | {"spoke-rim junction": 410.0}
    assert set(case.tool.contact_w_m2k.values()) == {1800.0} and set(case.tool.gap_w_m2k.values()) == {450.0}
    assert (case.tool.die_wall_mm, case.tool.hold_pressure_bar, case.tool.metal_head_mm) == (35.0, 0.9, 50.0)
    melt = case.melt
    assert (melt.hydrogen_ml_100g, melt.melt_temp_c, melt.cleanliness) == (0.10, 700.0, 0.5)
    assert melt.strontium_ppm == pytest.approx(180.0)
    assert (melt.magnesium_wt_pct, melt.iron_wt_pct, melt.silicon_wt_pct, melt.copper_wt_pct) == (0.32, 0.11, 7.2, 0.02)
    heat = case.treatment
    assert (heat.temper, heat.solution_temp_c, heat.solution_time_h) == ("T6", 538.0, pytest.approx(5.0))
    assert (heat.ageing_temp_c, heat.ageing_time_h, heat.quench_rate_k_s) == (155.0, 4.0, 20.0)
    plant = case.calibration
    assert (plant.name, plant.sdas_prefactor_um, plant.porosity_factor) == ("line 2, week 14", 9.6, 0.8)
    assert plant.one_sigma == {"SDAS relation": pytest.approx(0.05)} and set(plant.one_sigma) <= set(UNCERTAIN)
    assert case.warnings == ()


def test_own_limits_stand_before_those_for_all_and_house_limits(folder: Path) -> None:
    limits = {(entry.role, entry.quantity): entry for entry in read(folder, FULL).limits}
    spoke, porosity = limits["spoke", "elongation_pct"], limits["hub", "porosity_pct"]
    assert (spoke.value, spoke.operator, spoke.house_default) == (6.0, ">=", False)
    assert (porosity.value, porosity.operator, porosity.house_default) == (0.8, "<=", False)
    assert limits["spoke", "largest_pore_um"].house_default
    assert limits["rim well", "elongation_pct"].house_default
    both = read(folder, FULL + "[limits.hub]\nporosity_max = '0.3 %'\n").limits
    assert [x.value for x in both if (x.role, x.quantity) == ("hub", "porosity_pct")] == [0.3]


def test_the_full_case_uses_house_limits_only(folder: Path) -> None:
    assert all(line.startswith("limits.") for line in read(folder, FULL).defaults_used)


def test_geometry_and_alloy_are_enough_and_every_default_is_listed(folder: Path) -> None:
    case = read(folder, MINIMAL)
    listed = {line.split(" = ")[0] for line in case.defaults_used}
    wanted = {f"{d.table}.{d.key}" for d in DEFAULTS if not d.only or {"low-pressure", "T6"} & set(d.only)}
    wanted |= {"name", "heat_treatment.temper", "process.contact_coefficient", "process.gap_coefficient"}
    wanted |= {"melt.magnesium", "melt.silicon", "melt.copper", "process.die_temp_by_zone"}
    assert listed == wanted | {f"limits.{role}" for role in ROLES}
    assert len(case.defaults_used) == len(listed)
    assert all("(" in line and " = " in line for line in case.defaults_used if "no source" not in line)


def test_the_default_case(folder: Path) -> None:
    case = read(folder, MINIMAL)
    assert case.name == "case" and case.alloy.id == "AlSi7Mg0.3" and case.warnings == ()
    assert case.tool.contact_w_m2k["hub"] == 1500.0 and case.tool.gap_w_m2k["rim well"] == 500.0
    assert case.tool.die_temp_c["spoke-rim junction"] == 380.0 and case.tool.die_temp_c["rim well"] == 340.0
    assert case.melt.hydrogen_ml_100g == 0.12 and case.melt.magnesium_wt_pct == 0.35
    assert (case.treatment.temper, case.treatment.solution_temp_c, case.treatment.ageing_time_h) == ("T6", 540.0, 6.0)
    assert (case.axis, case.outboard, case.overrides, case.units) == (None, None, (), "")
    assert all(limit.house_default for limit in case.limits) and case.calibration.name == ""


def test_a_shape_or_table_alone_gives_the_same_case(folder: Path) -> None:
    from_file = read(folder, MINIMAL)
    alone = case_from_source(folder / "wheel.stl", alloy="A356")
    assert (alone.tool, alone.melt, alone.treatment) == (from_file.tool, from_file.melt, from_file.treatment)
    assert alone.limits == from_file.limits and alone.inputs == () and alone.name == "wheel"
    table = case_from_source(folder / "wheel.stl", alloy="A356", table=True)
    assert table.section_table == table.geometry == folder / "wheel.stl"
    assert not any(line.startswith("shape.") for line in table.defaults_used)


@pytest.mark.parametrize("name", ["A355", ""])
def test_a_shape_alone_needs_a_known_alloy(folder: Path, name: str) -> None:
    with pytest.raises(InputError, match=r"alloy: (is missing|'A355' is not a known alloy)"):
        case_from_source(folder / "wheel.stl", alloy=name)


@pytest.mark.parametrize("name", alloy_names())
def test_every_alloy_gives_a_case_without_complaint(folder: Path, name: str) -> None:
    case = read(folder, MINIMAL, alloy=name)
    assert case.alloy.id == name and case.warnings == ()
    assert case.treatment.temper == ("T6" if case.alloy.heat_treatable else "F")
    assert any(limit.quantity == "ys_mpa" for limit in case.limits) == case.alloy.heat_treatable


def test_an_alloy_given_by_hand_replaces_that_of_the_file(folder: Path) -> None:
    assert read(folder, FULL, alloy="A357").alloy.id == "AlSi7Mg0.6"
    assert read(folder, MINIMAL.replace('alloy = "A356"', ""), alloy="A357").alloy.id == "AlSi7Mg0.6"
    with pytest.raises(InputError, match="--alloy: 'A3' is not a known alloy"):
        read(folder, FULL, alloy="A3")


def test_a_plants_own_alloy_table_is_read_and_stamped(folder: Path) -> None:
    import castq.materials

    text = (Path(castq.materials.__file__).parent / "alloys.toml").read_text(encoding="utf-8")
    own = "[[alloy]]" + text.split("[[alloy]]")[1].replace('id = "AlSi7Mg0.3"', 'id = "Plant 7"')
    own = own.replace('"A356", ', "").replace("liquidus_c = { value = 615.8", "liquidus_c = { value = 615.8")
    (folder / "own.toml").write_text(own, encoding="utf-8")
    case = read(folder, 'geometry = "wheel.stl"\nalloy = "plant 7"\nalloy_table = "own.toml"\n')
    assert case.alloy.id == "Plant 7" and [file.name for file in case.inputs] == ["case.toml", "own.toml"]
    (folder / "own.toml").write_text(own.replace("Mg = 0.35", "Mg = 35"), encoding="utf-8")
    with pytest.raises(InputError, match=r"alloy_table: own.toml, .*did you mean 0.35 wt%"):
        read(folder, 'geometry = "wheel.stl"\nalloy = "plant 7"\nalloy_table = "own.toml"\n')


def test_a_coating_brings_the_resistances_in_series(folder: Path) -> None:
    # 1/h = d_c/k_c + d_g/k_g (+ d_gap/k_air): 150 um of 0.35 W/mK, 15 um of gas at 0.05 W/mK, 100 um gap.
    case = read(folder, MINIMAL + "[process]\ncoating = 'insulating oxide'\n")
    assert case.tool.contact_w_m2k["spoke"] == pytest.approx(1373, rel=0.02)
    assert case.tool.gap_w_m2k["spoke"] == pytest.approx(393, rel=0.05)
    thick = read(
        folder,
        MINIMAL + "[process]\ncoating_thickness = '100 um'\n[process.coating_thickness_by_zone]\nhub = '300 um'\n",
    )
    assert thick.tool.contact_w_m2k["spoke"] == pytest.approx(1707, rel=0.02)
    assert thick.tool.contact_w_m2k["hub"] == pytest.approx(864, rel=0.02)
    bare = read(folder, MINIMAL + "[process]\ncoating = 'none'\ngap_coefficient = '600 W/m2K'\n")
    assert bare.tool.contact_w_m2k["hub"] == pytest.approx(3333, rel=0.02) and bare.tool.gap_w_m2k["hub"] == 600.0


def test_gravity_casting_has_a_head_and_no_hold_pressure(folder: Path) -> None:
    tool = read(folder, MINIMAL + "[process]\nroute = 'gravity'\n").tool
    assert (tool.route, tool.hold_pressure_bar, tool.metal_head_mm) == ("gravity", 0.0, 150.0)


@pytest.mark.parametrize(
    ("temper", "solution_h", "ageing_h"), [("F", 0.0, 0.0), ("T4", 6.0, 0.0), ("T5", 0.0, 6.0), ("T6", 6.0, 6.0)]
)
def test_a_temper_has_only_its_own_steps(folder: Path, temper: str, solution_h: float, ageing_h: float) -> None:
    heat = read(folder, MINIMAL + f"[heat_treatment]\ntemper = '{temper}'\n").treatment
    assert (heat.solution_time_h, heat.ageing_time_h) == (solution_h, ageing_h)
    assert (heat.solution_temp_c > 0, heat.ageing_temp_c > 0) == (solution_h > 0, ageing_h > 0)
    if temper == "F":
        with pytest.raises(InputError, match="temper F has no ageing treatment"):
            read(folder, MINIMAL + "[heat_treatment]\ntemper = 'F'\nageing_time = '6 h'\n")


@pytest.mark.parametrize(
    ("text", "axis", "outboard"),
    [
        ("axis = 'y'", (0.0, 1.0, 0.0), None),
        ("outboard = '-x'", (1.0, 0.0, 0.0), -1),
        ("axis = [0, 0, 2]\noutboard = '-z'", (0.0, 0.0, 2.0), -1),
        ("axis = [0.1, 0.0, 1.0]", (0.1, 0.0, 1.0), None),
    ],
)
def test_axis_and_outboard_side(folder: Path, text: str, axis: tuple[float, ...], outboard: int | None) -> None:
    case = read(folder, MINIMAL + f"[shape]\n{text}\n")
    assert (case.axis, case.outboard) == (axis, outboard)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("0.10 ml/100g", "0.7 ml/100g", "far above what a wheel melt holds"),
        ("700 degC", "780 degC", "hot for a wheel"),
        ("0.018 wt%", "20 ppm", "too little to modify"),
        ("0.018 wt%", "0.05 wt%", "more than helps"),
        ("0.32 wt%", "0.5 wt%", "Mg 0.5 wt% is outside the range of AlSi7Mg0.3"),
        ("360 degC", "530 degC", "close to the end of freezing"),
        ('alloy = "AlSi7Mg0.3"', 'alloy = "AlSi11"', "screened as cast, whatever temper T6 says"),
    ],
)
def test_what_is_out_of_the_ordinary_is_a_warning(folder: Path, old: str, new: str, said: str) -> None:
    assert any(said in warning for warning in read(folder, FULL.replace(old, new)).warnings)


@pytest.mark.parametrize("wrong", WRONG, ids=[f"{w.row}-{i}" for i, w in enumerate(WRONG)])
def test_a_wrong_case_is_one_sentence_with_place_and_mend(folder: Path, wrong: Wrong) -> None:
    text = FULL.replace(wrong.old, wrong.new, 1)
    assert text != FULL
    with pytest.raises(InputError) as caught:
        read(folder, text)
    fault, *others = caught.value.faults
    assert not others, str(caught.value)
    assert str(fault).startswith("case.toml, " + wrong.place if wrong.place else "case.toml")
    assert wrong.said in str(fault) and fault.mend
    assert "\n" not in str(fault) and len(str(fault)) < 500
    assert sorted(path.name for path in folder.iterdir()) == ["case.toml", "wheel.stl"]


def test_the_corpus_covers_the_catalogue() -> None:
    assert len(WRONG) >= 60
    assert {wrong.row for wrong in WRONG} >= {90, 91, 92, 93, 94, 96, 97, 100, 102, 103, 105, 106, 107, 108}


def test_all_faults_of_a_file_are_told_together(folder: Path) -> None:
    text = FULL.replace("700 degC", "600 degC").replace("0.10 ml/100g", "3 ml/100g").replace("AlSi7Mg0.3", "A35")
    text = text.replace("die_wall =", "die_wal =").replace('"42 um"', "42").replace('= "410 degC"', '= "600 degC"')
    with pytest.raises(InputError) as caught:
        read(folder, text)
    places = {fault.place for fault in caught.value.faults}
    assert places == {
        "process.melt_temp", "melt.hydrogen", "alloy", "process.die_wal", "limits.spoke.sdas_max", "process.die_temp",
    }  # fmt: skip
    assert len(str(caught.value).splitlines()) == 6


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"", "is empty"),
        (b'name = "\xff\xfe"\n', "line 1: holds a byte that is not UTF-8"),
        ('name = "a"\n'.encode("utf-16"), "not UTF-8"),
        (b"\x00" * 50, "line 1"),
        (b"PK\x03\x04" + bytes(range(256)), "not UTF-8"),
        (b"# long\n" * 200_000, "1,400,000 bytes"),
        (b"[process\n", "line 1"),
        (b'{"geometry": "wheel.stl"}', "line 1"),
        (b"geometry: wheel.stl\nalloy: A356\n", "line 1"),
        (b"just words\n", "line 1"),
    ],
)
def test_a_file_that_is_no_case_is_one_sentence(folder: Path, raw: bytes, said: str) -> None:
    path = folder / "case.toml"
    path.write_bytes(raw)
    with pytest.raises(InputError) as caught:
        read_case(path)
    assert len(caught.value.faults) == 1 and said in str(caught.value)
    assert caught.value.faults[0].mend and str(caught.value).startswith("case.toml")


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("none.toml", "no such file"),
        (".", "is a folder"),
        ("/dev/zero", "is a device or pipe"),
        ("n" * 300, "File name too long"),
    ],
)
def test_a_case_that_cannot_be_opened_is_one_sentence(folder: Path, name: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        read_case(folder / name)


def test_a_byte_order_mark_is_read_over(folder: Path) -> None:
    path = folder / "case.toml"
    path.write_bytes(b"\xef\xbb\xbf" + FULL.replace("\n", "\r\n").encode())
    assert read_case(path).name == "Demo wheel, spoke A"


def test_the_case_file_is_stamped_and_joined_with_the_sections(folder: Path) -> None:
    case_file = read(folder, FULL)
    section = Section("hub", "hub", 30.0, 28.0, 28.0, 400.0, "gate")
    shape_file = InputFile("wheel.stl", "0" * 64, 18)
    case = build_case(case_file, [section], {"facets": 12}, [shape_file], ["a small hole was closed"])
    assert case.sections == (section,) and case.shape == {"facets": 12}
    assert [file.name for file in case.inputs] == ["case.toml", "wheel.stl"]
    assert case.inputs[0].size_bytes == len(FULL.encode())
    assert case.warnings == ("a small hole was closed",) and case.calibration.name == "line 2, week 14"
    with pytest.raises(InputError, match="holds no zones"):
        build_case(case_file, [], {}, [], [])


def test_tables_of_defaults_and_limits_speak_the_language_of_the_chain() -> None:
    for key, (quantity, kind, low, high) in LIMITS.items():
        assert quantity in BY_NAME and kind in KINDS and low < high
        assert key.endswith("_min") or key.endswith("_max")
        assert BY_NAME[quantity].unit == KINDS[kind].base
        assert BY_NAME[quantity].better != ("lower" if key.endswith("_min") else "higher")
    for limit in house_limits("T6"):
        low, high = next((lo, hi) for q, _, lo, hi in LIMITS.values() if q == limit.quantity)
        assert low <= limit.value <= high
    assert len(house_limits("T6")) == 6 * len(ROLES) and len(house_limits("F")) == 3 * len(ROLES)
    assert {place: limits["sdas_um"] for place, limits in HOUSE_LIMITS.items()} == {"rim": 35, "spoke": 50, "hub": 65}


@pytest.mark.parametrize(
    "value",
    [
        "0",
        "-1",
        "-0.0",
        "1e308",
        "nan",
        "true",
        "1979-05-27",
        "[]",
        "[[]]",
        "[{}]",
        "{}",
        "{a = 1}",
        "[1, 'a']",
        '""',
        '" "',
        '"nan"',
        '"1e400 mm"',
        '"-5 %"',
        '"1,5 degC"',
        '"１２ mm"',
        '"\\u202e12 mm"',
        '"' + "x" * 5000 + '"',
    ],
)
def test_no_value_at_any_key_brings_castq_down(folder: Path, value: str) -> None:
    lines = FULL.splitlines()
    for number, line in enumerate(lines):
        if " = " not in line:
            continue
        text = "\n".join([*lines[:number], f"{line.split(' = ')[0]} = {value}", *lines[number + 1 :]])
        try:
            read(folder, text)
        except InputError as error:
            assert all(fault.place and fault.mend for fault in error.faults), line
            assert all(len(str(fault)) < 600 for fault in error.faults), line
