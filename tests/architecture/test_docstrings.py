"""Docstrings keep their promises: every public one is there, physics ones name each argument with its unit."""

from __future__ import annotations

import ast
import inspect
import re
from pathlib import Path

import pytest

import castq.physics
import castq.statistics
import castq.thermal.wall  # noqa: F401
from castq.core.nomenclature import unit_of
from castq.core.relation import REGISTRY

ROOT = Path(__file__).parents[2] / "castq"


@pytest.mark.parametrize("path", sorted(ROOT.rglob("*.py")), ids=lambda path: str(path.relative_to(ROOT)))
def test_public_things_have_docstrings_and_annotations(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree) or not tree.body
    classes = [node for node in tree.body if isinstance(node, ast.ClassDef)]
    for node in [*tree.body, *(inner for outer in classes for inner in outer.body)]:
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)) and not node.name.startswith("_"):
            assert ast.get_docstring(node), f"{path.name}: {node.name}"
            if isinstance(node, ast.FunctionDef):
                assert node.returns is not None, f"{path.name}: {node.name}"


@pytest.mark.parametrize("relation_id", sorted(REGISTRY))
def test_relation_docstring_names_each_argument_with_its_unit(relation_id: str) -> None:
    function = inspect.unwrap(REGISTRY[relation_id].function)
    text = inspect.getdoc(function) or ""
    assert "Returns" in text and re.search(r"Returns\n-+\n(?:.*\n)+?.*\[[^\]]+\]", text), "the return has no unit"
    for name in inspect.signature(function).parameters:
        entry = re.search(rf"^{name}(?:, \w+)* : .*\n((?:    .*\n?)+)", text, re.MULTILINE) or re.search(
            rf"^(?:\w+, )+{name}(?:, \w+)* : .*\n((?:    .*\n?)+)", text, re.MULTILINE
        )
        assert entry, f"{name} is not described"
        unit = re.search(r"\[([^\]]+)\]", entry.group(1))
        assert unit or "id" in name or "name" in name or name in {"alloy", "die", "temper"}, f"{name} has no unit"
        promised = unit_of(name)
        if unit and promised:
            assert promised in entry.group(1), f"{name}: docstring says [{unit.group(1)}], the name says {promised}"
