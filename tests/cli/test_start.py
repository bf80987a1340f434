"""The command line answers at once and imports nothing heavy to do so."""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = ("numpy", "pandas", "scipy", "matplotlib", "numba", "trimesh", "manifold3d", "openpyxl", "jinja2")


@pytest.mark.parametrize(
    "words", [["--help"], ["screen", "--help"], ["compare", "--help"], ["demo", "--help"], ["--version"]]
)
def test_help_imports_nothing_heavy(words: list[str]) -> None:
    code = (
        "import sys\n"
        "from castq.cli.main import run\n"
        f"try:\n    run({words!r})\nexcept SystemExit as end:\n    assert end.code in (0, None), end.code\n"
        f"found = [name for name in {HEAVY!r} if name in sys.modules]\n"
        "assert not found, found\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert len(done.stdout) > 5


@pytest.mark.parametrize("command", ["screen", "compare", "demo", "relations", "materials"])
def test_every_command_has_help_with_an_example(command: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "castq", command, "--help"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0
    assert "Example: castq " + command in done.stdout


def test_an_unknown_command_is_a_usage_error() -> None:
    done = subprocess.run([sys.executable, "-m", "castq", "scren"], capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
