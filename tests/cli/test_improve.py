"""`castq improve` end to end: report folder, JSON, resuming, the designed sweep, and what can be typed wrong."""

from __future__ import annotations

import csv
import html
import io
import json
import os
import re
import signal
from dataclasses import replace
from importlib import resources
from multiprocessing import active_children
from pathlib import Path

import jsonschema
import pytest

from castq.files.case import read_case
from castq.files.case_design import wheel_table
from castq.files.demo import write_demo
from castq.files.intake import read_design
from castq.geometry.wheel import demo_a
from castq.screening import workers
from tests.cli.run import castq

SECTIONS = Path(__file__).parents[2] / "datasets" / "demo" / "sections.csv"
QUICK = ("--alloy", "A356", "--draws", 32, "--over", "hydrogen=0.08..0.2 ml/100g", "--over", "hold_pressure=0.6..1 bar")


def schema(name: str) -> dict:
    return json.loads(resources.files("castq.report").joinpath("schemas", name).read_text(encoding="utf-8"))


def wheel_case(folder: Path, extra: str = "", table: str = "") -> Path:
    path = folder / "case.toml"
    path.write_text(f'name = "A <b>bold</b> & wheel"\nalloy = "A356"\n{extra}\n{table or wheel_table(demo_a())}')
    return path


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory):
    """Return the folder and the words of one run on a wheel given by its measures, on a coarse grid."""
    folder = tmp_path_factory.mktemp("improve")
    case = wheel_case(folder)
    said = castq("improve", case, "--voxel", "5 mm", "--draws", 32, "--over", "spoke thickness=18..23 mm", "--over",
                 "hydrogen=0.08..0.2 ml/100g", "--out", folder / "out", "--workers", 1, "--budget", 7)  # fmt: skip
    assert said.code in (0, 1), said.err
    return folder / "out", said


def test_the_folder_holds_page_picture_tables_and_journal(report) -> None:
    out, said = report
    assert {path.name for path in out.iterdir()} == {
        "improve.html", "improve.json", "improve.csv", "tornado.png", "solves.jsonl",
    }  # fmt: skip
    document = json.loads((out / "improve.json").read_text(encoding="utf-8"))
    jsonschema.validate(document, schema("improve.schema.json"))
    assert document["case"]["depth"] == "section"
    assert {lever["name"] for lever in document["levers"]} == {"spoke_thickness", "hydrogen"}
    assert document["budget"]["used"] == len((out / "solves.jsonl").read_text().splitlines()) - 1
    assert "at most" in said.err and "solved now" in said.err
    assert all(len(line) <= 100 for line in said.out.splitlines()[:-1])


def test_the_page_is_self_contained_and_escapes_the_name(report) -> None:
    page = (report[0] / "improve.html").read_text(encoding="utf-8")
    assert "A &lt;b&gt;bold&lt;/b&gt; &amp; wheel" in page and "<b>bold" not in page
    assert not re.search(r"""(?:src|href)=["'](?!data:|#)""", page)
    policy = html.unescape(page)
    assert "default-src 'none'" in policy and "script-src 'none'" in policy
    assert "Never shorten a degassing or settling time" in page
    assert "keep the die closed and the pressure on for at least" in page


def test_the_table_of_variants_agrees_with_the_document(report) -> None:
    out, _ = report
    rows = list(csv.DictReader(io.StringIO((out / "improve.csv").read_text(encoding="utf-8"))))
    document = json.loads((out / "improve.json").read_text(encoding="utf-8"))
    assert [row["kind"] for row in rows].count("alone") == 4
    low = next(lever["low"] for lever in document["levers"] if lever["name"] == "hydrogen")
    row = next(row for row in rows if row["hydrogen [ml/100g]"] == "0.08" and row["kind"] == "alone")
    worst = document["targets"][0]["name"]
    assert float(row[f"gain, {worst}"]) == pytest.approx(low["gains"][0]["value"], rel=1e-5)
    assert float(row["weight_change_kg"]) == 0.0


def test_the_same_command_goes_on_and_gives_the_same_bytes(report) -> None:
    out, _ = report
    names = ("improve.html", "improve.json", "improve.csv", "tornado.png")
    before = {name: (out / name).read_bytes() for name in names}
    said = castq("improve", out.parent / "case.toml", "--voxel", "5 mm", "--draws", 32, "--budget", 7, "--over",
                 "spoke thickness=18..23 mm", "--over", "hydrogen=0.08..0.2 ml/100g", "--out", out)  # fmt: skip
    assert "0 solved now" in said.err
    assert {name: (out / name).read_bytes() for name in names} == before


def test_a_case_given_by_its_measures_is_the_case_of_its_drawing(tmp_path: Path) -> None:
    design = read_design(wheel_case(tmp_path), voxel="5 mm")
    assert design.wheel is not None and design.wheel.name == "A <b>bold</b> & wheel"
    assert all(getattr(design.wheel, name) == getattr(demo_a(), name) for name in demo_a().__slots__ if name != "name")
    assert design.case.shape["format"] == "wheel measures"
    assert [item.name for item in design.case.inputs] == ["case.toml"]


def test_the_demo_has_a_case_that_gives_its_measures(tmp_path: Path) -> None:
    write_demo(tmp_path)
    path = tmp_path / "wheel_a_parameters.toml"
    assert path.read_text(encoding="utf-8").startswith("# SYNTHETIC")
    wheel, drawn = read_case(path), read_case(tmp_path / "wheel_a.toml")
    assert wheel.wheel == replace(demo_a(), name=wheel.name) and drawn.wheel is None
    assert "SYNTHETIC" in wheel.name
    assert (wheel.tool, wheel.melt, wheel.limits) == (drawn.tool, drawn.melt, drawn.limits)


@pytest.mark.parametrize(
    ("extra", "table", "says"),
    [
        ("", '[wheel]\nspoke_thicknes_hub = "20 mm"', "wheel.spoke_thicknes_hub.*did you mean spoke_thickness_hub"),
        ("", "[wheel]\nspoke_thickness_hub = 20", "wheel.spoke_thickness_hub.*no unit"),
        ("", '[wheel]\nspoke_thickness_hub = "20 bar"', "unit 'bar'"),
        ("", '[wheel]\nspokes = "5"', "wheel.spokes"),
        ("", "[wheel]\nspokes = 5.5", "wheel.spokes.*whole number"),
        ("", "[wheel]\nspokes = 2", "wheel.spokes.*out of range"),
        ("", "[wheel]\ntwin = 1", "wheel.twin"),
        ("", '[wheel]\npocket_depth = "33 mm"', "wheel.pocket_depth.*pocket leaves"),
        ("", '[wheel]\nhub_radius = "-5 mm"', "wheel.hub_radius.*positive length"),
        ('geometry = "case.toml"', "", "wheel.*stands beside geometry"),
        ("wheel = 5\n#", "#", "wheel.*table"),
        ("", '[shape]\nunits = "mm"\n[wheel]', "wheel.*stands beside a unit"),
    ],
)
def test_a_wheel_that_cannot_be_is_told_at_its_key(tmp_path: Path, extra: str, table: str, says: str) -> None:
    said = castq("screen", wheel_case(tmp_path, extra, table), "--json")
    assert said.code == 2 and re.search(says, said.err), said.err
    assert "Traceback" not in said.err


def test_json_alone_writes_nothing_and_keeps_its_schema(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    said = castq("improve", SECTIONS, *QUICK, "--json", "--budget", 4)
    assert said.code in (0, 1), said.err
    document = json.loads(said.out)
    jsonschema.validate(document, schema("improve.schema.json"))
    assert document["budget"] == {"allowed": 4, "used": 4, "short": True}
    assert document["grid"] == [] and document["levers"][0]["low"]["weight_kg"] is None
    assert not list(tmp_path.iterdir())
    gained = any(gain["low"] > 0.0 for lever in document["levers"] for end in ("low", "high") if lever[end]
                 for gain in lever[end]["gains"])  # fmt: skip
    assert said.code == (0 if gained else 1)


def test_a_sweep_is_the_same_with_two_workers_even_when_one_is_killed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(workers, "cores", lambda: 2)
    monkeypatch.setattr("castq.cli.improve.WORTH_PROCESSES_S", 0.0)
    results, killed = [], []

    def kill_one(solver, finished: int, asked: int) -> None:
        if active_children() and not killed:
            killed.append(active_children()[0].pid)
            os.kill(killed[0], signal.SIGKILL)

    monkeypatch.setattr("castq.cli.improve._Solver._told", kill_one)
    for count in (1, 2):
        out = tmp_path / f"with {count}"
        said = castq("improve", SECTIONS, *QUICK, "--sweep", 12, "--out", out, "--workers", count)
        assert said.code == 0, said.err
        results.append([(out / name).read_bytes() for name in ("sweep.csv", "effects.csv", "sweep.json")] + [said.out])
    assert results[0][:3] == results[1][:3]
    assert killed and not active_children() and "NUMBA_NUM_THREADS" not in os.environ
    document = json.loads(results[0][2])
    jsonschema.validate(document, schema("sweep.schema.json"))
    assert document["variants"] == 12 and document["not_solved"] == 0
    rows = list(csv.DictReader(io.StringIO(results[0][0].decode("utf-8"))))
    assert len(rows) == 12 and all(0.08 <= float(row["hydrogen [ml/100g]"]) <= 0.2 for row in rows)
    effects = list(csv.DictReader(io.StringIO(results[0][1].decode("utf-8"))))
    assert {row["lever"] for row in effects} == {"hydrogen", "hold_pressure"}
    assert "hydrogen" in results[0][3]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("nothing.toml",), "no such file"),
        ((SECTIONS, "--alloy", "A356", "--budget", 0), "0 solves"),
        ((SECTIONS, "--alloy", "A356", "--budget", 1), "1 solves"),
        ((SECTIONS, "--alloy", "A356", "--depth", "deep"), "'deep' is no depth"),
        ((SECTIONS, "--alloy", "A356", "--depth", "solid"), "no shape"),
        ((SECTIONS, "--alloy", "A356", "--sweep", 3), "3 variants"),
        ((SECTIONS, "--alloy", "A356", "--sweep", -5), "-5 variants"),
        ((SECTIONS, "--alloy", "A356", "--sweep", 50, "--budget", 20), "51 or more"),
        ((SECTIONS, "--alloy", "A356", "--over", "hydrogn=0.1..0.2 ml/100g"), "did you mean hydrogen"),
        ((SECTIONS, "--alloy", "A356", "--over", "hydrogen=0.2..0.1 ml/100g"), "lower end first"),
        ((SECTIONS, "--alloy", "A356", "--over", "spoke_thickness=20..24 mm"), "[wheel]"),
        ((SECTIONS, "--alloy", "A356", "--cluster", "nowhere"), "--cluster"),
        ((SECTIONS,), "--alloy"),
    ],
)
def test_bad_words_end_in_one_clear_line_and_exit_2(words, says: str, tmp_path: Path) -> None:
    said = castq("improve", *words, "--out", tmp_path / "out")
    assert said.code == 2, said.err
    assert says in said.err and "Traceback" not in said.err
    assert len([line for line in said.err.strip().splitlines() if line.startswith("castq:")]) == 1
    assert not (tmp_path / "out" / "improve.html").exists()


def test_the_folder_of_another_case_is_refused_by_name(report, tmp_path: Path) -> None:
    out, _ = report
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    said = castq("improve", SECTIONS, *QUICK, "--out", out)
    assert said.code == 2 and "A <b>bold</b> & wheel" in said.err and "sections" in said.err
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before
    (tmp_path / "letter.txt").write_text("mine")
    said = castq("improve", SECTIONS, *QUICK, "--out", tmp_path)
    assert said.code == 2 and "holds files already" in said.err
    assert [path.name for path in tmp_path.iterdir()] == ["letter.txt"]


def test_a_zone_name_with_dollar_signs_is_no_formula(tmp_path: Path) -> None:
    table = tmp_path / "dollar.csv"
    text = SECTIONS.read_text(encoding="utf-8")
    table.write_text(text.replace("spoke inner half", "$x^$ <i>half").replace("spoke root", "$x_$"), encoding="utf-8")
    said = castq("improve", table, *QUICK, "--out", tmp_path / "out", "--budget", 3)
    assert said.code in (0, 1), said.err
    assert "<i>half" not in (tmp_path / "out" / "improve.html").read_text(encoding="utf-8")
