"""`castq melt import`: checks, imports, refuses, and writes a mapping to fill in."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.run import Said, castq

DEMO = Path(__file__).parents[2] / "datasets" / "demo"
TABLE, MAPPING = DEMO / "melt_week.csv", DEMO / "melt_week_map.toml"


@pytest.fixture(autouse=True)
def _no_name_from_outside(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("CASTQ_BY", raising=False)


def imported(folder: Path, *words: object, table: Path = TABLE) -> Said:
    return castq("melt", "import", table, "--map", MAPPING, "--book", folder / "book.sqlite", *words)


def test_a_check_needs_no_book_and_makes_none(tmp_path: Path) -> None:
    said = imported(tmp_path, "--check")
    assert said.code == 0 and "547 good but not written, 0 refused" in said.out
    assert list(tmp_path.iterdir()) == []


def test_the_demo_week_goes_in_once(tmp_path: Path) -> None:
    first = json.loads(imported(tmp_path, "--by", "A", "--json").out)
    assert (first["rows"], first["written"], first["refused"]) == (547, 547, [])
    for words in (("--by", "A"), ("--check",)):
        second = imported(tmp_path, *words)
        assert second.code == 0 and "0 written, 0 refused, 547 there already" in second.out
    assert "row 4: the same as row 1 of the log book" in second.out


def test_refused_rows_are_listed_and_hold_the_others_back(tmp_path: Path) -> None:
    bad = tmp_path / "bad.csv"
    bad.write_bytes(TABLE.read_bytes().replace(b"7Mg;722;", b"7Mg;1332;"))
    said = imported(tmp_path, "--by", "A", table=bad)
    assert said.code == 2 and "1332 degF is 722 degC: write that" in " ".join(said.out.split())
    assert sorted(path.name for path in tmp_path.iterdir()) == ["bad.csv"]
    said = imported(tmp_path, "--by", "A", "--accept-good", table=bad)
    assert said.code == 1 and " written, " in said.out and "547 rows: 0 written" not in said.out


def test_who_imports_is_asked_for(tmp_path: Path) -> None:
    said = imported(tmp_path)
    assert said.code == 2 and "--by: is missing" in said.err and list(tmp_path.iterdir()) == []


def test_a_mapping_is_proposed_and_not_written_over(tmp_path: Path) -> None:
    out = tmp_path / "new.toml"
    words = ("melt", "import", TABLE, "--map", out, "--propose")
    assert "state the encoding" in castq(*words).err and not out.exists()
    words += ("--encoding", "cp1252")
    assert castq(*words).code == 0 and '#   "Melt °C"' in out.read_text(encoding="utf-8")
    said = castq(*words)
    assert said.code == 2 and "is there already" in said.err
