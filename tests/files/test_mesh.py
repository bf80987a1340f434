"""Geometry files, right and wrong ones: each gives the right volume, a stated warning, or one clear sentence."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from castq.core.errors import InputError
from castq.files.mesh import MeshFile, read_mesh
from tests.files import mesh_files as mf
from tests.files.mesh_corpus import BINARY, BOX, SKIN, SKIN_VOLUME, STL, VOLUME, WHEEL, Row, holed
from tests.files.mesh_corpus_other import OTHER

ROWS = STL + OTHER


def read(tmp_path: Path, row: Row) -> MeshFile:
    content = row.content() if callable(row.content) else row.content
    return read_mesh(mf.write(tmp_path / row.file, content), **row.options)


@pytest.mark.parametrize("row", ROWS, ids=[f"{row.number}-{row.name}" for row in ROWS])
def test_file_gives_the_right_volume_or_one_clear_sentence(tmp_path: Path, row: Row) -> None:
    if row.volume:
        result = read(tmp_path, row)
        assert result.mesh.volume_mm3 == pytest.approx(row.volume, rel=row.rel)
        assert result.facets == len(result.mesh.faces) and result.input.size_bytes > 0
        said = " | ".join(result.warnings)
        assert all(words in said for words in row.warnings), said
        assert len(result.warnings) == len(row.warnings) or "not watertight" in said
        return
    with pytest.raises(InputError) as caught:
        read(tmp_path, row)
    message = str(caught.value)
    assert message.startswith(row.file) and "\n" not in message and "Traceback" not in message
    assert ";" in message and message.isprintable()
    for words in row.words:
        assert words in message


def test_corpus_is_large_enough() -> None:
    assert len(ROWS) >= 180 and {row.number for row in ROWS} >= set(range(1, 41)) - {36}


FORMATS: list[tuple[str, Callable[[mf.Triangles], bytes | str]]] = [
    ("w.stl", mf.binary_stl), ("a.stl", mf.ascii_stl), ("a.ply", mf.ascii_ply), ("b.ply", mf.binary_ply),
    ("w.obj", mf.obj), ("w.3mf", mf.threemf), ("w.step", mf.step),
]  # fmt: skip


@pytest.mark.parametrize(("name", "writer"), FORMATS, ids=[name for name, _ in FORMATS])
def test_wheel_keeps_its_volume_and_area_in_every_format(
    tmp_path: Path, name: str, writer: Callable[[mf.Triangles], bytes | str]
) -> None:
    if name.endswith("step"):
        pytest.importorskip("cascadio")
    result = read_mesh(mf.write(tmp_path / name, writer(SKIN)))
    assert result.mesh.volume_mm3 == pytest.approx(SKIN_VOLUME, rel=1e-6)
    assert result.mesh.area_mm2 == pytest.approx(WHEEL.surface_area(), rel=1e-6)
    assert np.allclose(result.mesh.bounds, ([-225, -225, -100], [225, 225, 100]), atol=1e-3)
    assert (result.facets, result.open_edges, result.units, result.units_proven) == (len(SKIN), 0, "mm", True)
    assert result.warnings == () and len(result.bodies) == 1


def test_step_in_metres_comes_out_in_millimetres(tmp_path: Path) -> None:
    pytest.importorskip("cascadio")
    result = read_mesh(mf.write(tmp_path / "b.stp", mf.step(BOX / 1000.0, prefix="$")), units="inch")
    assert result.mesh.volume_mm3 == pytest.approx(VOLUME, rel=1e-6)
    assert result.warnings == ("--units inch not used: the file itself says mm",)


@pytest.mark.parametrize(
    "body", ["garbage", "DATA;\n#1=CARTESIAN_POINT('',(0.,0.,0.));\nENDSEC;"], ids=["garbage", "a-point"]
)
def test_step_without_a_solid_is_one_sentence(tmp_path: Path, body: str) -> None:
    pytest.importorskip("cascadio")
    path = mf.write(tmp_path / "g.step", f"ISO-10303-21;\n{body}\nEND-ISO-10303-21;\n")
    with pytest.raises(InputError, match=r"g\.step: cannot be turned into triangles .*export it again as AP214"):
        read_mesh(path)


def test_step_without_the_extra_says_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(InputError, match=r'needs the cad extra.*pip install "castq\[cad\]", or export STL'):
        read_mesh(mf.write(tmp_path / "b.step", mf.step(BOX)))


def test_step_that_takes_too_long_is_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("cascadio")
    monkeypatch.setattr("castq.files.cad.TIME_LIMIT_S", 0.01)
    with pytest.raises(InputError, match=r"took longer than 0\.01 s"):
        read_mesh(mf.write(tmp_path / "b.step", mf.step(BOX)))


def test_folder_missing_file_and_odd_names(tmp_path: Path) -> None:
    (tmp_path / "folder.stl").mkdir()
    with pytest.raises(InputError, match=r"folder\.stl: is a folder"):
        read_mesh(tmp_path / "folder.stl")
    with pytest.raises(InputError, match=r"none\.stl: there is no such file"):
        read_mesh(tmp_path / "none.stl")
    with pytest.raises(InputError) as caught:
        read_mesh(mf.write(tmp_path / "a[link=x]\x1b[31m\u202e.stl", b""))
    assert str(caught.value).isprintable() and "a[link=x]" in str(caught.value)
    with pytest.raises(InputError):
        read_mesh(Path("nul\0.stl"))


def test_ending_is_read_in_any_case(tmp_path: Path) -> None:
    assert read_mesh(mf.write(tmp_path / "PART.STL", BINARY)).format == "binary STL"


def test_ascii_and_binary_give_the_same_corners(tmp_path: Path) -> None:
    shape = SKIN.astype(np.float32).astype(float)
    one = read_mesh(mf.write(tmp_path / "a.stl", mf.binary_stl(shape))).mesh
    two = read_mesh(mf.write(tmp_path / "b.stl", mf.ascii_stl(shape))).mesh
    slow = mf.ascii_stl(shape).replace("outer loop", "outer  loop")
    three = read_mesh(mf.write(tmp_path / "c.stl", slow)).mesh
    assert np.allclose(one.triangles, two.triangles, rtol=0.0, atol=1e-6)
    assert np.array_equal(two.triangles, three.triangles)


def test_open_edges_are_counted_in_the_result(tmp_path: Path) -> None:
    assert read_mesh(mf.write(tmp_path / "a.stl", holed(5))).open_edges == 15


@pytest.mark.parametrize("writer", [mf.binary_stl, mf.ascii_stl, mf.binary_ply, mf.obj, mf.threemf])
def test_damaged_bytes_never_end_in_anything_but_a_sentence(
    tmp_path: Path, writer: Callable[[mf.Triangles], bytes | str]
) -> None:
    whole = writer(BOX)
    content = whole if isinstance(whole, bytes) else whole.encode()
    ending = {"binary_stl": "stl", "ascii_stl": "stl", "binary_ply": "ply", "obj": "obj", "threemf": "3mf"}
    random = np.random.default_rng(11)
    refused = 0
    for trial in range(60):
        data = bytearray(content)
        for place in random.integers(0, len(data), 1 + trial % 4):
            data[place] = random.integers(0, 256)
        data = data[: random.integers(1, len(data))] if trial % 3 == 0 else data
        try:
            result = read_mesh(mf.write(tmp_path / f"x.{ending[writer.__name__]}", bytes(data)))
            assert np.isfinite(result.mesh.volume_mm3) and result.mesh.volume_mm3 > 0.0
        except InputError as error:
            refused += 1
            assert "Traceback" not in str(error) and str(error).startswith("x.")
    assert refused >= 20
