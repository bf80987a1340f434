"""Parts of the tool in a case file: they arrive in the right place and unit, and what is wrong is one sentence."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from castq.core.errors import InputError
from castq.files.case import CaseFile, read_case
from castq.files.intake import read_design
from castq.geometry.mesh import Mesh
from castq.materials import die_material
from castq.thermal.tool import Cycle, FeederHead, Gate, Plug, Region, Ring, Tube
from tests.files import mesh_files as mf

HEAD = 'geometry = "wheel.stl"\nalloy = "A356"\n'
RING = '[[cooling]]\nname = "hub ring"\nshape = "ring"\nradius = "60 mm"\nheight = "-5 cm"\nbore = "12 mm"\n'
WATER = 'medium = "water"\ncoefficient = "6000 W/m2K"\ntemp = "25 degC"\n'
TUBE = '[[cooling]]\nname = "side tube"\nshape = "tube"\nstart = ["250 mm", "0 mm", "-80 mm"]\n' \
    'end = ["250 mm", "0 mm", "8 cm"]\nbore = "10 mm"\nmedium = "air"\n'  # fmt: skip
PLUG = '[[cooling]]\nname = "junction plug"\nshape = "plug"\ntip = ["150 mm", "0 mm", "90 mm"]\n' \
    'outside = ["150 mm", "0 mm", "160 mm"]\nbore = "8 mm"\nmedium = "mist"\n' \
    'on = [["10 s", "60 s"], ["70 s", "90 s"]]\n'  # fmt: skip
AREA = '[[cooling]]\nname = "rim jacket"\nshape = "region"\nradius = ["240 mm", "260 mm"]\n' \
    'height = ["-50 mm", "50 mm"]\nmedium = "water"\n'  # fmt: skip
CORE = '[[core]]\nname = "bore core"\nradius = ["0 mm", "25 mm"]\nheight = ["-100 mm", "100 mm"]\n'
INSERT = '[[insert]]\nname = "gate insert"\ngeometry = "part.stl"\nmaterial = "CuBe C17200"\n' \
    'start_temp = "320 degC"\n' \
    'contact_coefficient = "4000 W/m2K"\ngap_coefficient = "900 W/m2K"\n'  # fmt: skip
CHILL = '[[chill]]\nname = "rim chill"\ngeometry = "part.stl"\n'
DIE = '[[die_part]]\nname = "bottom core"\ngeometry = "part.stl"\nmaterial = "H11"\n'
GATE = '[gate]\nradius = "30 mm"\nside = "outboard"\n'
CYCLE = '[cycle]\nfill = "8 s"\nhold = "120 s"\nfreeze = "1 min"\nopen = "25 s"\nspray = "5 s"\nclose = "22 s"\n' \
    'open_coefficient = "40 W/m2K"\nspray_coefficient = "600 W/m2K"\n' \
    'air_temp = "45 degC"\nspray_temp = "55 degC"\n'  # fmt: skip
FEEDER = '[[feeder]]\nname = "hub head"\nfoot = ["0 mm", "0 mm", "60 mm"]\ndiameter = "80 mm"\nheight = "12 cm"\n'
GRAVITY = '[process]\nroute = "gravity"\n'
ON = 'on = ["10 s", "60 s"]\n'
LOW = HEAD + RING + WATER + ON + TUBE + PLUG + AREA + CORE + INSERT + CHILL + DIE + GATE + CYCLE
HIGH = HEAD + GRAVITY + FEEDER


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "wheel.stl").write_bytes(b"stands for a shape")
    (tmp_path / "part.stl").write_bytes(b"stands for a part")
    return tmp_path


def read(folder: Path, text: str) -> CaseFile:
    (folder / "case.toml").write_text(text, encoding="utf-8")
    return read_case(folder / "case.toml")


def test_every_part_arrives_in_its_unit(folder: Path) -> None:
    case = read(folder, LOW)
    ring, tube, plug, jacket = case.parts.tool.circuits
    assert ring.shape == Ring(60.0, -50.0, 12.0)
    assert (ring.medium, ring.coefficient_w_m2k, ring.temp_c, ring.on_s) == ("water", 6000.0, 25.0, ((10.0, 60.0),))
    assert tube.shape == Tube((250.0, 0.0, -80.0), (250.0, 0.0, 80.0), 10.0)
    assert plug.shape == Plug((150.0, 0.0, 90.0), (150.0, 0.0, 160.0), 8.0)
    assert plug.on_s == ((10.0, 60.0), (70.0, 90.0))
    assert jacket.shape == Region((240.0, 260.0), (-50.0, 50.0))
    core, insert, chill = case.parts.bodies
    assert (core.name, core.shape, core.start_temp_c) == ("bore core", Region((0.0, 25.0), (-100.0, 100.0)), None)
    assert core.material is die_material("resin-bonded silica sand") and chill.material is die_material("copper")
    assert (insert.material.id, insert.start_temp_c) == ("CuBe C17200", 320.0)
    assert (insert.contact_w_m2k, insert.gap_w_m2k, chill.gap_w_m2k) == (4000.0, 900.0, None)
    assert insert.shape.path == folder / "part.stl"
    assert [(row.name, row.material.id) for row in case.parts.die] == [("bottom core", "H11")]
    assert case.parts.tool.gate == Gate(30.0, 0) and not case.parts.gate_inboard
    assert case.parts.tool.cycle == Cycle(8.0, 120.0, 60.0, 25.0, 5.0, 22.0, 40.0, 600.0, 45.0, 55.0)
    assert case.warnings == ()


def test_a_gravity_casting_has_heads(folder: Path) -> None:
    parts = read(folder, HIGH + '[cycle]\nfreeze = "150 s"\nfill = "12 s"\n').parts
    assert parts.tool.feeders == (FeederHead("hub head", (0.0, 0.0, 60.0), 80.0, 120.0),)
    assert parts.tool.cycle is not None and (parts.tool.cycle.hold_s, parts.tool.cycle.closed_s) == (0.0, 162.0)


def test_every_default_of_a_part_is_listed_with_its_reason(folder: Path) -> None:
    text = (
        HEAD + TUBE + PLUG + AREA + CORE + CHILL + DIE.replace('material = "H11"\n', "") + '[gate]\nradius = "3 cm"\n'
    )
    case = read(folder, text + '[cycle]\nhold = "120 s"\nfreeze = "60 s"\n')
    listed = {line.split(" = ")[0]: line.split(" = ")[1] for line in case.defaults_used}
    assert listed["cooling[1].coefficient"] == "250 W/m2K (plain air channel, 100 to 400; common practice)"
    assert listed["cooling[2].coefficient"].startswith("2000 W/m2K (") and "cooling[3].temp" in listed
    assert listed["cooling[3].on"] == "throughout (no times given)" and "cooling[2].on" not in listed
    assert listed["core[1].material"] == "resin-bonded silica sand (usual core)"
    assert (
        listed["chill[1].material"] == "copper (usual chill)" and listed["die_part[1].material"] == "H13 (as the die)"
    )
    assert listed["gate.side"].startswith("outboard (")
    assert {key for key in listed if key.startswith("cycle.")} == {
        "cycle.fill", "cycle.open", "cycle.spray", "cycle.close", "cycle.open_coefficient", "cycle.spray_coefficient",
        "cycle.air_temp", "cycle.spray_temp",
    }  # fmt: skip
    air, mist, water = (circuit.coefficient_w_m2k for circuit in case.parts.tool.circuits)
    assert (air, mist, water) == (250.0, 2000.0, 5000.0)
    assert case.parts.tool.circuits[0].on_s == ((0.0, 3600.0),)


def test_without_parts_nothing_is_added(folder: Path) -> None:
    case = read(folder, HEAD)
    assert not case.parts and not any(line.startswith(("cooling", "cycle", "gate")) for line in case.defaults_used)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (LOW.replace("6000 W/m2K", "300 W/m2K"), "cooling 'hub ring': 300 W/m2K is unusual for water, 1500 to 40000"),
        (HEAD + '[cycle]\nhold = "10 s"\nfreeze = "20 s"\n', "a cycle of 80 s is unusual for a wheel, 90 to 900 s"),
        (LOW.replace("geometry = \"wheel.stl\"", "section_table = \"wheel.stl\""), "count only at solid depth"),
    ],
)  # fmt: skip
def test_what_is_out_of_the_ordinary_is_a_warning(folder: Path, text: str, said: str) -> None:
    assert any(said in warning for warning in read(folder, text).warnings)


# What is changed in which file, the place named, and the words said.
WRONG: tuple[tuple[str, str, str, str, str], ...] = (
    # keys
    (LOW, "[[cooling]]\nname = \"hub", "[[coolings]]\nname = \"hub", "coolings", "did you mean cooling"),
    (LOW, "[[cooling]]\nname = \"rim", "[cooling]\nname = \"rim", "line 28", "a key or table is given twice"),
    (HIGH, "[[feeder]]", "[feeder]", "feeder", "is a table; expected a list of tables"),
    (LOW, "[gate]", "[[gate]]", "gate", "is a list; expected a table"),
    (LOW, "[cycle]", "[[cycle]]", "cycle", "is a list; expected a table"),
    (LOW, "[[core]]", "[[cores]]", "cores", "did you mean core"),
    (LOW, 'name = "hub ring"\n', "", "cooling[1].name", "is missing; add name"),
    (LOW, 'name = "hub ring"', "name = 7", "cooling[1].name", "is a number; expected text"),
    (LOW, '"rim jacket"', '"hub ring"', "cooling[4].name", "cooling[1] has the same name"),
    (LOW, '"rim chill"', '"hub ring"', "chill[1].name", "cooling[1] has the same name"),
    (LOW, "coefficient = \"6000", "htc = \"6000", "cooling[1].htc", "is not a key castq knows"),
    (LOW, "bore = \"12 mm\"", "diameter = \"12 mm\"\nbore = \"12 mm\"", "cooling[1].diameter",
     "is not a key castq knows"),
    # circuits
    (LOW, 'shape = "ring"', 'shape = "rings"', "cooling[1].shape", "'rings' is not known here; did you mean ring"),
    (LOW, 'shape = "ring"\n', "", "cooling[1].shape", "is missing; add shape"),
    (LOW, 'bore = "12 mm"', 'bore = "12 mm"\nstart = ["0 mm", "0 mm", "0 mm"]', "cooling[1].start",
     "does not belong to a ring"),
    (LOW, 'radius = "60 mm"\n', "", "cooling[1].radius", "is missing"),
    (LOW, 'radius = "60 mm"', "radius = 60", "cooling[1].radius", "60 has no unit"),
    (LOW, 'radius = "60 mm"', 'radius = ["60 mm", "70 mm"]', "cooling[1].radius", "is a list; expected a quantity"),
    (LOW, 'radius = "60 mm"', 'radius = "60 m"', "cooling[1].radius", "60000 mm is out of range"),
    (LOW, 'bore = "12 mm"', 'bore = "0 mm"', "cooling[1].bore", "0 mm is out of range"),
    (LOW, 'bore = "12 mm"', 'bore = "125 mm"', "cooling[1].bore", "125 mm is wider than the ring"),
    (LOW, '["250 mm", "0 mm", "8 cm"]', '["250 mm", "8 cm"]', "cooling[2].end", "holds 2 lengths; expected x, y and z"),
    (LOW, '["250 mm", "0 mm", "8 cm"]', "[250, 0, 80]", "cooling[2].end", "holds something that is not a short text"),
    (LOW, '["250 mm", "0 mm", "8 cm"]', '"80 mm"', "cooling[2].end", "is text; expected a list of texts"),
    (LOW, '["250 mm", "0 mm", "8 cm"]', '["250 mm", "0 mm", "-8 cm"]', "cooling[2].end", "is the same place as start"),
    (LOW, '"160 mm"]', '"160 degC"]', "cooling[3].outside", "unit 'degC'"),
    (LOW, '["240 mm", "260 mm"]', '["260 mm", "240 mm"]', "cooling[4].radius", "runs from 260 mm to 240 mm"),
    (LOW, '["240 mm", "260 mm"]', '"240 mm"', "cooling[4].radius", "is text; expected a list"),
    (LOW, 'medium = "water"\ncoeff', 'medium = "oil"\ncoeff', "cooling[1].medium",
     "'oil' is not known here; use one of"),
    (LOW, 'medium = "water"\ncoeff', "coeff", "cooling[1].medium", "is missing"),
    (LOW, '"6000 W/m2K"', '"0 W/m2K"', "cooling[1].coefficient", "0 W/m2K is out of range"),
    (LOW, '"6000 W/m2K"', '"-6000 W/m2K"', "cooling[1].coefficient", "-6000 W/m2K is out of range"),
    (LOW, '"6000 W/m2K"', '"6e9 W/m2K"', "cooling[1].coefficient", "is out of range; expected 10 to 40000"),
    (LOW, '"6000 W/m2K"', '"6000"', "cooling[1].coefficient", "has no unit"),
    (LOW, 'temp = "25 degC"', 'temp = "250 degC"', "cooling[1].temp", "250 degC is out of range; expected 0 to 100"),
    (LOW, ON, 'on = ["60 s", "10 s"]\n', "cooling[1].on", "runs from 60 s to 10 s"),
    (LOW, ON, 'on = ["10 s"]\n', "cooling[1].on", "holds 1 times where two belong"),
    (LOW, ON, 'on = "10 s"\n', "cooling[1].on", "is text; expected a pair of times"),
    (LOW, ON, "on = []\n", "cooling[1].on", "is empty; expected a pair of times"),
    (LOW, ON, 'on = ["10 s", 60]\n', "cooling[1].on", "60 has no unit"),
    (LOW, ON, 'on = ["-10 s", "60 s"]\n', "cooling[1].on", "-10 s is out of range"),
    (LOW, ON, 'on = ["10 s", "2 h"]\n', "cooling[1].on", "7200 s is out of range"),
    (LOW, ON, 'on = ["10 s", "300 s"]\n', "on of cooling 'hub ring'", "after the cycle of 240 s is over"),
    (LOW, '["70 s", "90 s"]', '["50 s", "90 s"]', "cooling[3].on", "on again at 50 s, before it is off at 60 s"),
    (LOW, '["70 s", "90 s"]', '"70 s"', "cooling[3].on", "is a list; expected a quantity such as"),
    # bodies
    (LOW, 'radius = ["0 mm", "25 mm"]\n', "", "core[1].radius", "is missing"),
    (LOW, 'radius = ["0 mm", "25 mm"]\nheight = ["-100 mm", "100 mm"]\n', "", "core[1].geometry",
     "is missing; expected a mesh file, or a region"),
    (LOW, 'name = "bore core"', 'name = "bore core"\nbody = "2"', "core[1].body", "stands without geometry"),
    (LOW, 'name = "bore core"', 'name = "bore core"\nmaterial = "sandd"', "core[1].material", "did you mean"),
    (LOW, 'name = "rim chill"', 'name = "rim chill"\nradius = ["0 mm", "9 mm"]', "chill[1].radius",
     "stands beside geometry"),
    (LOW, CHILL, CHILL.replace("part.stl", "none.stl"), "chill[1].geometry", "there is no file 'none.stl'"),
    (LOW, CHILL, CHILL.replace("part.stl", "."), "chill[1].geometry", "is a folder"),
    (LOW, 'material = "CuBe C17200"\n', "", "insert[1].material", "is missing; expected a die material"),
    (LOW, '"320 degC"', '"600 degC"', "start_temp of 'gate insert'", "is solid only at"),
    (LOW, '"320 degC"', '"-300 degC"', "insert[1].start_temp", "is out of range"),
    (LOW, '"4000 W/m2K"', '"400 W/m2K"', "insert[1].gap_coefficient", "is above the one in contact"),
    (LOW, '"900 W/m2K"', '"0 W/m2K"', "insert[1].gap_coefficient", "0 W/m2K is out of range"),
    (LOW, DIE, DIE.replace('geometry = "part.stl"\n', ""), "die_part[1].geometry", "is missing; expected a mesh file"),
    (LOW, DIE, DIE.replace("material", "materiel"), "die_part[1].materiel", "did you mean material"),
    (LOW, DIE, DIE.replace('"H11"', '"steel"'), "die_part[1].material", "'steel' is not a known die material"),
    (LOW, DIE, DIE + 'radius = ["0 mm", "9 mm"]\n', "die_part[1].radius", "is not a key castq knows"),
    # feeding
    (LOW, GATE, FEEDER, "feeder", "a low-pressure casting is fed through its gate"),
    (HIGH, FEEDER, GATE, "gate", "a gravity casting is fed by its heads; write [[feeder]]"),
    (LOW, 'radius = "30 mm"', 'radius = "0 mm"', "gate.radius", "0 mm is out of range"),
    (LOW, 'radius = "30 mm"\n', "", "gate.radius", "is missing"),
    (LOW, 'side = "outboard"', 'side = "left"', "gate.side", "'left' is not known here"),
    (HIGH, 'foot = ["0 mm", "0 mm", "60 mm"]\n', "", "feeder[1].foot", "is missing"),
    (HIGH, '"80 mm"', '"80 m"', "feeder[1].diameter", "80000 mm is out of range"),
    (HIGH, '"12 cm"', '"0 cm"', "feeder[1].height", "0 mm is out of range"),
    # cycle
    (LOW, 'hold = "120 s"\n', "", "cycle.hold", "is missing"),
    (LOW, 'freeze = "1 min"\n', "", "cycle.freeze", "is missing"),
    (LOW, 'fill = "8 s"', 'fill = "-8 s"', "cycle.fill", "-8 s is out of range"),
    (LOW, 'fill = "8 s"', 'fill = "8 mm"', "cycle.fill", "unit 'mm'"),
    (LOW, 'spray = "5 s"', 'spray = "1 h"', "cycle.spray", "3600 s is out of range"),
    (LOW, 'spray = "5 s"', 'sprey = "5 s"', "cycle.sprey", "did you mean spray"),
    (HEAD + CYCLE, 'fill = "8 s"\nhold = "120 s"\nfreeze = "1 min"', 'fill = "1 s"\nhold = "0 s"\nfreeze = "0 s"',
     "cycle.freeze",
     "the die opens 1 s after pouring: nothing has frozen"),
    (LOW, 'freeze = "1 min"\nopen = "25 s"', 'freeze = "30 min"\nopen = "30 min"', "cycle", "the cycle lasts 3755 s"),
    (HIGH, FEEDER, FEEDER + '[cycle]\nfreeze = "90 s"\nhold = "60 s"\n', "cycle.hold",
     "gravity casting holds no pressure"),
    (LOW, '"600 W/m2K"', '"0 W/m2K"', "cycle.spray_coefficient", "0 W/m2K is out of range"),
    (LOW, '"45 degC"', '"450 degC"', "cycle.air_temp", "450 degC is out of range"),
)  # fmt: skip


@pytest.mark.parametrize(("full", "old", "new", "place", "said"), WRONG, ids=range(len(WRONG)))
def test_a_wrong_part_is_one_sentence_with_place_and_mend(
    folder: Path, full: str, old: str, new: str, place: str, said: str
) -> None:
    text = full.replace(old, new, 1)
    assert text != full
    with pytest.raises(InputError) as caught:
        read(folder, text)
    fault, *others = caught.value.faults
    assert not others, str(caught.value)
    assert str(fault).startswith("case.toml, " + place)
    assert said in str(fault) and fault.mend and "\n" not in str(fault) and len(str(fault)) < 500


@pytest.mark.parametrize(
    "value", ["0", "-1", "1e308", "nan", "true", "1979-05-27", "[]", "[[]]", "[{}]", "{}", '[1, "a"]',
              '[["1 s"]]', '""',
              '"nan"', '"-5 mm"', '["0 mm", "nan mm", "1 mm"]', '[["1 s", "2 s"], 3]', '"' + "x" * 5000 + '"'],
)  # fmt: skip
def test_no_value_at_any_key_brings_castq_down(folder: Path, value: str) -> None:
    for full in (LOW, HIGH):
        lines = full.splitlines()
        for number, line in enumerate(lines):
            if " = " not in line:
                continue
            text = "\n".join([*lines[:number], f"{line.split(' = ')[0]} = {value}", *lines[number + 1 :]])
            try:
                read(folder, text)
            except InputError as error:
                assert all(fault.place and fault.mend for fault in error.faults), line
                assert all(len(str(fault)) < 600 for fault in error.faults), line


# The demo wheel lying along x, its middle at (200, 30, -40) mm, in cm: parts are drawn beside it.
TURN = np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
MIDDLE = np.array([200.0, 30.0, -40.0])


def drawn(triangles: mf.Triangles, scale: float = 0.1) -> bytes:
    return mf.binary_stl(scale * (triangles @ TURN.T + MIDDLE))


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the turned demo wheel, a block of its die, and a case text that names both."""
    folder = tmp_path_factory.mktemp("turned")
    from castq.geometry.wheel import build_wheel, demo_a

    (folder / "wheel.stl").write_bytes(drawn(build_wheel(demo_a()).triangles))
    block = mf.box(60.0, 40.0, 30.0) + np.array([100.0, -20.0, 130.0])
    (folder / "block.stl").write_bytes(drawn(block))
    two = np.concatenate([block, block + np.array([0.0, 80.0, 0.0])])
    (folder / "two.stl").write_bytes(drawn(two))
    (folder / "far.stl").write_bytes(drawn(block + np.array([900.0, 0.0, 0.0])))
    (folder / "metres.stl").write_bytes(drawn(block, 1e-3))
    (folder / "open.stl").write_bytes(drawn(block[:-3]))
    (folder / "page.stl").write_bytes(b"<!doctype html><html></html>")
    return folder


CASE = 'geometry = "wheel.stl"\nalloy = "A356"\n[shape]\nvoxel = "6 mm"\n' + TUBE.replace(
    '"250 mm", "0 mm", "-80 mm"', '"120 mm", "280 mm", "-40 mm"'
).replace('"250 mm", "0 mm", "8 cm"', '"280 mm", "280 mm", "-40 mm"')


def test_parts_are_read_in_the_unit_of_the_wheel_and_moved_with_it(demo: Path) -> None:
    (demo / "case.toml").write_text(
        CASE + '[[die_part]]\nname = "block"\ngeometry = "block.stl"\n[[chill]]\nname = "chill"\ngeometry = "two.stl"\n'
        'body = "2"\n[gate]\nradius = "30 mm"\nside = "inboard"\n'
    )
    design = read_design(demo / "case.toml")
    assert design.shape is not None and abs(design.shape.axis.rotation[2] @ TURN[:, 2]) == pytest.approx(1.0, abs=1e-4)
    parts = design.case.parts
    mesh = parts.die[0].shape
    assert isinstance(mesh, Mesh) and mesh.volume_mm3 == pytest.approx(60.0 * 40.0 * 30.0, rel=1e-5)
    turned = design.shape.axis.rotation @ TURN
    for vertex, own in zip(mf.box(60.0, 40.0, 30.0).reshape(-1, 3), mesh.triangles.reshape(-1, 3), strict=True):
        assert np.linalg.norm(own) == pytest.approx(np.linalg.norm(vertex + np.array([100.0, -20.0, 130.0])), abs=0.5)
    assert mesh.bounds[0] == pytest.approx(
        np.minimum(turned @ [100.0, -20.0, 130.0], turned @ [160.0, 20.0, 160.0]), abs=0.5
    )
    tube = parts.circuits[0].shape
    assert isinstance(tube, Tube) and tube.start_mm == pytest.approx(turned @ [250.0, 0.0, -80.0], abs=0.5)
    assert parts.gate == Gate(30.0, -design.shape.zones.outboard)
    assert {file.name for file in design.case.inputs} == {"case.toml", "wheel.stl", "block.stl", "two.stl"}
    assert all(len(file.sha256) == 64 for file in design.case.inputs) and len(design.inputs) == 4


@pytest.mark.parametrize(
    ("name", "place", "said"),
    [
        ("two.stl", "two.stl", "has 2 separate bodies"),
        ("open.stl", "open.stl", "open"),
        ("page.stl", "page.stl", "HTML"),
        ("case.toml", "case.toml", "ending '.toml' is not a geometry file castq reads"),
        ("far.stl", "case.toml, core[1].geometry", "lies 7"),
        ("metres.stl", "case.toml, core[1].geometry", "largest side of 'metres.stl' is 0.6 mm; expected 3 to 3000 mm"),
    ],
)
def test_a_wrong_mesh_of_a_part_is_one_sentence(demo: Path, name: str, place: str, said: str) -> None:
    (demo / "case.toml").write_text(CASE + f'[[core]]\nname = "block"\ngeometry = "{name}"\n')
    with pytest.raises(InputError) as caught:
        read_design(demo / "case.toml")
    fault, *others = caught.value.faults
    assert not others and str(fault).startswith(place) and said in str(fault) and fault.mend


def test_a_section_table_has_no_parts(tmp_path: Path) -> None:
    (tmp_path / "s.csv").write_bytes((Path(__file__).parents[2] / "datasets" / "demo" / "sections.csv").read_bytes())
    (tmp_path / "case.toml").write_text('section_table = "s.csv"\nalloy = "A356"\n' + RING + WATER)
    case = read_design(tmp_path / "case.toml").case
    assert case.parts.circuits == () and any("count only at solid depth" in warning for warning in case.warnings)
