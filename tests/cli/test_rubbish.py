"""Rubbish on the command line: one clear sentence, exit code 2, before any work is done."""

from __future__ import annotations

import shutil
from pathlib import Path

import manifold3d as m3
import numpy as np
import pytest

from castq.files.demo import stl_bytes
from castq.geometry.mesh import Mesh
from castq.geometry.wheel import build_wheel, demo_a
from tests.cli.run import castq

SECTIONS = Path(__file__).parents[2] / "datasets" / "demo" / "sections.csv"


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("wheel") / "wheel.stl"
    path.write_bytes(stl_bytes(build_wheel(demo_a()).scaled(1.0 / 25.4), "SYNTHETIC"))
    return path


@pytest.mark.parametrize("unit", ["in", "IN", "inch"])
def test_the_unit_in_the_help_is_taken(wheel: Path, unit: str) -> None:
    said = castq("screen", wheel, "--alloy", "A356", "--units", unit, "--voxel", "4 mm", "--draws", 16, "--json")
    assert said.code in (0, 1), said.err


@pytest.mark.parametrize("voxel", ["50 mm", "-2 mm", "0 mm", "0.1 mm"])
def test_a_voxel_out_of_range_is_named(wheel: Path, voxel: str) -> None:
    said = castq("screen", wheel, "--alloy", "A356", "--voxel", voxel, "--json")
    assert said.code == 2
    assert "--voxel" in said.err
    assert "expected 0.3 to 10 mm" in said.err


def test_a_folder_and_a_missing_file_are_named_as_such(tmp_path: Path) -> None:
    (tmp_path / "wheel.stl").mkdir()
    assert "wheel.stl: is a folder" in castq("screen", tmp_path / "wheel.stl", "--alloy", "A356").err
    said = castq("screen", tmp_path / "gone.csv", "--alloy", "A356")
    assert said.code == 2
    assert "gone.csv: there is no such file" in said.err
    assert "case file" not in said.err
    assert castq("screen", "", "--alloy", "A356").err.startswith("castq: .: is a folder")


def test_a_used_report_folder_is_told_before_the_source_is_read(tmp_path: Path) -> None:
    source = tmp_path / "sections.csv"
    source.write_text("rubbish")
    (tmp_path / "sections-screening").mkdir()
    (tmp_path / "sections-screening" / "old").touch()
    said = castq("screen", source, "--alloy", "A356")
    assert said.code == 2
    assert "holds files already" in said.err


def test_a_file_name_too_long_or_odd_for_a_title_is_taken(tmp_path: Path) -> None:
    source = tmp_path / ("x" * 200 + ".csv")
    shutil.copy(SECTIONS, source)
    said = castq("screen", source, "--alloy", "A356", "--json", "--draws", 16)
    assert said.code in (0, 1), said.err


def test_a_block_is_no_wheel(tmp_path: Path) -> None:
    block = m3.Manifold.cube([450, 450, 200], True).to_mesh64()
    mesh = Mesh(np.asarray(block.vert_properties)[:, :3], np.asarray(block.tri_verts).astype(np.int64))
    path = tmp_path / "block.stl"
    path.write_bytes(stl_bytes(mesh, "SYNTHETIC"))
    said = castq("screen", path, "--alloy", "A356", "--voxel", "4 mm", "--json")
    assert said.code == 2
    assert "a block and no wheel" in said.err
