"""Every relation against values from outside castq: published rows, closed forms, independent arithmetic.

The rows live in `datasets/published/checks_*.csv`; their head lines name the sources.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

import castq.physics
import castq.statistics
import castq.thermal.wall  # noqa: F401
from castq.core.relation import PROVENANCE_WORDS, REGISTRY

FOLDER = Path(__file__).parents[2] / "datasets" / "published"
KINDS = {
    "published",
    "handbook",
    "worked example",
    "closed form",
    "independent arithmetic",
    "reference library",
    "practice",
}


def read_rows() -> list[dict[str, str]]:
    """Return every check row, with the file it stands in."""
    rows = []
    for path in sorted(FOLDER.glob("checks_*.csv")):
        lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
        rows += [{**row, "file": path.name} for row in csv.DictReader(lines)]
    return rows


ROWS = read_rows()


@pytest.mark.parametrize("row", ROWS, ids=[row["id"] for row in ROWS])
def test_relation_gives_the_outside_value(row: dict[str, str]) -> None:
    assert row["kind"] in KINDS
    assert row["provenance"] in PROVENANCE_WORDS
    assert len(row["source"]) > 8
    entry = REGISTRY[row["relation"]]
    got = np.asarray(entry.function(**json.loads(row["arguments"])), dtype=float)
    rtol, atol = float(row["rtol"] or 0), float(row["atol"] or 0)
    expected = np.asarray(json.loads(row["expected"]), dtype=float)
    assert rtol or atol
    np.testing.assert_allclose(got, expected, rtol=rtol, atol=atol)


def test_no_relation_is_without_a_check_row() -> None:
    assert set(REGISTRY) - {row["relation"] for row in ROWS} == set()


def test_there_are_enough_rows_over_enough_relations() -> None:
    assert len({row["id"] for row in ROWS}) == len(ROWS)
    assert len(ROWS) >= 150
    assert len({row["relation"] for row in ROWS}) >= 40
