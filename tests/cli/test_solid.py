"""The screen and compare commands at solid depth, and what they refuse."""

from __future__ import annotations

import json
from importlib import resources
from pathlib import Path

import jsonschema
import pytest

from castq.files.demo import write_demo
from tests.cli.run import castq

SECTIONS = Path(__file__).parents[2] / "datasets" / "demo" / "sections.csv"


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_demo(tmp_path_factory.mktemp("demo"))[0]


def test_solid_depth_ends_in_json_that_keeps_its_schema(wheel: Path, tmp_path: Path) -> None:
    words = ("--depth", "solid", "--no-study", "--no-pictures", "--voxel", "3.4 mm", "--draws", 32)
    said = castq("screen", wheel, *words, "--json", "--out", tmp_path / "report")
    assert said.code == 1, said.err
    document = json.loads(said.out)
    schema = resources.files("castq.report").joinpath("schemas", "screen.schema.json").read_text(encoding="utf-8")
    jsonschema.validate(document, json.loads(schema))
    assert document["depth"] == "solid" and document["verdict"] == "fails"
    assert document["solid"]["grid_study"] is None
    pools = [row for row in document["solid"]["islands"] if row["volume_cm3"] > 10.0]
    assert len(pools) == 5 and all(180.0 < row["radius_mm"] < 225.0 for row in pools)
    assert "freezing" in said.err and "feeding" in said.err
    assert {"report.html", "zones.csv", "screening.json"} <= {path.name for path in (tmp_path / "report").iterdir()}


def test_section_depth_stays_the_default_and_says_so() -> None:
    said = castq("screen", SECTIONS, "--alloy", "A356", "--json", "--draws", 16)
    document = json.loads(said.out)
    assert (document["depth"], document["solid"]) == ("section", None)


@pytest.mark.parametrize(
    ("voxel", "depth", "says"),
    [("5 mm", "solid", "1.4 cells across the thinnest wall"), ("5 mm", "deep", "'deep' is not a depth")],
)
def test_what_cannot_be_solved_is_one_clear_line(
    wheel: Path, tmp_path: Path, voxel: str, depth: str, says: str
) -> None:
    said = castq("screen", wheel, "--depth", depth, "--voxel", voxel, "--out", tmp_path / "report")
    assert said.code == 2 and says in said.err
    assert "Traceback" not in said.err and not (tmp_path / "report").exists()


def test_a_section_table_has_no_shape_to_solve(tmp_path: Path) -> None:
    words = ("--alloy", "A356", "--depth", "solid", "--out", tmp_path / "report")
    for command in (("screen", SECTIONS), ("compare", SECTIONS, SECTIONS)):
        said = castq(*command, *words)
        assert said.code == 2 and "has no shape to solve" in said.err
        assert len(said.err.strip().splitlines()) == 1 and not (tmp_path / "report").exists()
