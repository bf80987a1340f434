"""Imports point downwards only, late ones too; physics and the desks open no file; the library does not print."""

from __future__ import annotations

import ast
import graphlib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2] / "castq"
LAYERS = {
    "core": 0,
    "materials": 1, "geometry": 1, "statistics": 1,
    "physics": 2,
    "thermal": 3, "feeding": 3,
    "screening": 4, "melt": 4, "rejects": 4,
    "report": 5, "files": 5,
    "page": 6,
    "cli": 7,
}  # fmt: skip
FILES = sorted(ROOT.rglob("*.py"))
CLOSED_TO_FILES = {"core", "geometry", "statistics", "physics", "thermal", "feeding", "screening", "melt"}
FILE_CALLS = {"open", "read_text", "write_text", "read_bytes", "write_bytes", "read_csv", "to_csv", "unlink", "mkdir"}


def module_name(path: Path) -> str:
    parts = path.relative_to(ROOT.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def castq_imports(path: Path) -> set[str]:
    """Return every castq module that the file imports, at the top or late, type-only imports included."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names if alias.name.startswith("castq")}
        elif isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "castq":
            for alias in node.names:
                full = f"{node.module}.{alias.name}"
                is_module = (ROOT.parent / Path(*full.split("."))).with_suffix(".py").exists()
                is_package = (ROOT.parent / Path(*full.split("."))).is_dir()
                found.add(full if is_module or is_package else str(node.module))
    return found


def layer_of(module: str) -> int:
    parts = module.split(".")
    return LAYERS.get(parts[1], 8) if len(parts) > 1 else 8


@pytest.mark.parametrize("path", FILES, ids=[module_name(path) for path in FILES])
def test_imports_point_downwards(path: Path) -> None:
    here = module_name(path)
    for target in castq_imports(path) - {"castq"}:
        same_package = here.split(".")[1:2] == target.split(".")[1:2]
        assert same_package or layer_of(target) < layer_of(here), f"{here} imports {target}"


def test_every_package_has_a_layer() -> None:
    packages = {path.relative_to(ROOT).parts[0] for path in FILES if len(path.relative_to(ROOT).parts) > 1}
    assert packages <= set(LAYERS)
    assert {path.stem for path in ROOT.glob("*.py")} == {"__init__", "__main__"}


def test_there_is_no_import_cycle() -> None:
    names = {module_name(path) for path in FILES}
    graph = {module_name(path): castq_imports(path) & names - {module_name(path), "castq"} for path in FILES}
    assert len(list(graphlib.TopologicalSorter(graph).static_order())) >= len(FILES)


@pytest.mark.parametrize("path", FILES, ids=[module_name(path) for path in FILES])
def test_lower_layers_open_no_file_and_nothing_prints(path: Path) -> None:
    package = path.relative_to(ROOT).parts[0]
    calls = {
        node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
    }
    assert "print" not in calls
    if package in CLOSED_TO_FILES:
        assert not calls & FILE_CALLS


@pytest.mark.parametrize("path", FILES, ids=[module_name(path) for path in FILES])
def test_files_stay_readable(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400
