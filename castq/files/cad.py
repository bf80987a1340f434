"""STEP and IGES through the `cad` extra, in a child process with a time limit."""

from __future__ import annotations

import importlib.util
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from castq.core.errors import plain
from castq.files.parts import Loaded, Part
from castq.files.source import Source, real_type

TIME_LIMIT_S = 300.0


def read_cad(source: Source, max_facets: int) -> Loaded:
    """Return the solids of a STEP or IGES file as triangles [mm]; the file carries its unit.

    Parameters
    ----------
    source : Source
        The file.
    max_facets : int
        Largest number of facets accepted [-].

    Raises
    ------
    InputError
        If the extra is not installed, or the file is not CAD data, holds no solid or takes too long.
    """
    kind = "step" if source.path.suffix.lower() in (".step", ".stp") else "iges"
    _check_kind(source, kind)
    if importlib.util.find_spec("cascadio") is None:
        raise source.error(
            "",
            f"reading {kind.upper()} needs the cad extra, which is not installed",
            "",
            'run: pip install "castq[cad]", or export STL',
        )
    with tempfile.TemporaryDirectory(prefix="castq-") as folder:
        given, result = Path(folder, f"given.{kind}"), Path(folder, "result.npz")
        given.write_bytes(source.data)
        _run(source, kind, given, result)
        with np.load(result, allow_pickle=False) as stored:
            names = [plain(name, 60) for name in stored["names"]]
            parts = tuple(
                Part(name, 1000.0 * stored[f"vertices_{number}"], stored[f"faces_{number}"])
                for number, name in enumerate(names)
            )
    facets = sum(len(part.faces) for part in parts)
    if facets > max_facets:
        raise source.error("", f"becomes {facets:,} facets", f"at most {max_facets:,}", "export a coarse STL instead")
    if not facets:
        raise source.error("", "holds no solid", "a solid body", "export the solid, not curves or sketches")
    return Loaded(kind.upper(), parts, 1.0, "mm")


def _check_kind(source: Source, kind: str) -> None:
    actual = real_type(source.data)
    is_kind = actual == "STEP" if kind == "step" else not actual and source.data[72:73] in (b"S", b"s")
    if not is_kind:
        raise source.error(
            "",
            f"is not {kind.upper()}: its content is {actual or 'something else'}",
            f"a {kind.upper()} file",
            "give the file its right ending or export it again",
        )
    if kind == "step" and b"END-ISO-10303-21" not in source.data[-4096:].upper():
        raise source.error(
            "",
            "has no END-ISO-10303-21 line at its end",
            "a whole STEP file",
            "the file is cut short; copy or export it again",
        )


def _run(source: Source, kind: str, given: Path, result: Path) -> None:
    command = [sys.executable, "-m", "castq.files.cadchild", str(given), kind, str(result)]
    try:
        done = subprocess.run(command, capture_output=True, timeout=TIME_LIMIT_S, check=False)  # noqa: S603
    except subprocess.TimeoutExpired:
        raise source.error(
            "", f"took longer than {TIME_LIMIT_S:g} s to turn into triangles", "", "export STL from CAD instead"
        ) from None
    if done.returncode or not result.exists():
        last = done.stderr.decode("utf-8", "replace").strip().splitlines()[-1:] or [f"code {done.returncode}"]
        raise source.error(
            "",
            f"cannot be turned into triangles ({plain(last[0], 100)})",
            f"a whole {kind.upper()} file",
            "export it again as AP214 or AP242, or export STL",
        )
