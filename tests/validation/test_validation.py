"""The committed validation table is in step with the register, and its arithmetic is right."""

from __future__ import annotations

from pathlib import Path

import pytest

from castq.core.relation import REGISTRY
from tests.published.test_checks import ROWS
from tests.validation.relations import TOPICS, relation_row
from tests.validation.report import COLUMNS, line, report
from tests.validation.rows import Row, grid_error

COMMITTED = Path(__file__).parents[2] / "reports" / "validation.md"


def listed() -> dict[tuple[str, str], dict[str, str]]:
    """Return the lines of the committed table below its summary, by relation and row."""
    found = {}
    for text in COMMITTED.read_text(encoding="utf-8").splitlines():
        cells = [part.strip() for part in text.replace("\\|", "\0").strip("|").split("|")]
        if text.startswith("| ") and len(cells) == len(COLUMNS) and cells[0] != COLUMNS[0]:
            found[cells[0], cells[1]] = dict(zip((name.replace("|", "\0") for name in COLUMNS), cells, strict=True))
    return found


def test_committed_table_lists_every_check_row_of_every_relation() -> None:
    lines = listed()
    rows = {(row["relation"], row["id"]) for row in ROWS}
    assert rows - set(lines) == set(), "run python -m tests.validation"
    assert set(REGISTRY) - {subject for subject, _ in lines} == set()
    gone = {key for key in lines if key[0] in REGISTRY} - rows
    assert gone == set(), "run python -m tests.validation"
    assert {row["file"].removesuffix(".csv") for row in ROWS} <= set(TOPICS)


def test_committed_table_holds_the_engines_with_their_grids() -> None:
    text = COMMITTED.read_text(encoding="utf-8")
    for topic in ("Wall solver, one-dimensional", "Solid solver, three-dimensional", "Feeding engine",
                  "Geometry and zones", "Measured series"):  # fmt: skip
        assert f"\n## {topic}\n" in text
    fronts = [cells for (subject, _), cells in listed().items() if subject == "Stefan and Neumann"]
    assert len(fronts) == 6
    for cells in fronts:
        assert cells["verdict"] == "met" and 0.0 < float(cells["u_num"]) < 0.05
        assert float(cells["E"]) == pytest.approx(float(cells["S"]) - float(cells["D"]), abs=2e-3)


def test_numbers_of_a_row_are_those_of_the_relation() -> None:
    checks = {row["id"]: row for row in ROWS}
    row = relation_row(checks["metal-liquidus-5si"])
    assert row.d == 630.0 and row.allowed == pytest.approx(0.15) and row.u_d == pytest.approx(0.075)
    assert row.met and abs(row.s - 630.0) < 0.15 and row.unit == "degC"


def test_worked_line_of_the_standard_method() -> None:
    """S 32.0 um, D 29.0 um with u_D 1.0, u_num 0.03 and u_input 3.8: E is 3.0, u_val 3.9."""
    row = Row("t", "r", "i", 32.0, 29.0, 2.0, u_num=0.03, u_input=3.8, u_d=1.0, unit="um", source="a | b")
    assert row.e == 3.0 and row.u_val == pytest.approx(3.93, abs=0.005)
    assert row.word == "MISSED"
    cells = line(row).split(" | ")
    assert cells[3:13] == ["32", "29", "um", "3", "10", "0.03", "3.8", "1", "3.9", "yes"]
    assert "a \\| b" in line(row)
    text = report([row])
    assert "| t | 1 | 1 | 0 | 1 | 1 | 0 | 0 | 0 | 1 | 0 |" in text


def test_grid_error_of_textbook_and_trap() -> None:
    """Values of a public tutorial on grid convergence; and an order too good to be true is not believed."""
    half_width, words = grid_error([0.96178, 0.96854, 0.97050])
    assert half_width == pytest.approx(0.00103083 * 0.97050, rel=1e-3)
    assert words == "observed order 1.79"
    trap, words = grid_error([48.55611, 48.56987, 48.57064])
    assert trap == pytest.approx(3.0 * 0.00077, rel=1e-3)
    assert "not asymptotic" in words
    assert grid_error([1.0, 1.1])[0] == pytest.approx(0.3)
    assert grid_error([2.0, 1.0, 1.0]) == (0.0, "no change")
