"""The foundry engineer's commands, end to end on section tables and on the demo wheel."""

from __future__ import annotations

import json
from importlib import resources
from pathlib import Path

import jsonschema
import pytest

from tests.cli.run import castq

DATASETS = Path(__file__).parents[2] / "datasets" / "demo"
SECTIONS = DATASETS / "sections.csv"


def schema(name: str) -> dict:
    return json.loads(resources.files("castq.report").joinpath("schemas", name).read_text(encoding="utf-8"))


def test_a_section_table_is_screened_to_json_that_keeps_its_schema() -> None:
    said = castq("screen", SECTIONS, "--alloy", "A356", "--json", "--draws", 32)
    assert said.code in (0, 1)
    document = json.loads(said.out)
    jsonschema.validate(document, schema("screen.schema.json"))
    assert document["schema_version"] == "1.0"
    assert (said.code == 1) == (document["verdict"] == "fails")


def test_two_tables_are_compared_to_json_that_keeps_its_schema(tmp_path: Path) -> None:
    thicker = tmp_path / "thicker.csv"
    thicker.write_text(SECTIONS.read_text(encoding="utf-8"), encoding="utf-8")
    said = castq("compare", SECTIONS, thicker, "--alloy", "AlSi7Mg0.3", "--json", "--draws", 32)
    assert said.code == 0
    document = json.loads(said.out)
    jsonschema.validate(document, schema("compare.schema.json"))
    assert document["verdict"] == "no difference"


def test_a_report_folder_is_complete_and_not_overwritten_without_force(tmp_path: Path) -> None:
    out = tmp_path / "report"
    first = castq("screen", SECTIONS, "--alloy", "A356", "--out", out, "--draws", 32)
    assert first.code in (0, 1), first.err
    names = {path.name for path in out.iterdir()}
    assert {"report.html", "zones.csv", "zones.xlsx", "screening.json"} <= names
    again = castq("screen", SECTIONS, "--alloy", "A356", "--out", out, "--draws", 32)
    assert again.code == 2
    assert "--force" in again.err
    assert castq("screen", SECTIONS, "--alloy", "A356", "--out", out, "--draws", 32, "--force").code in (0, 1)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("screen", "nothing.stl", "--alloy", "A356"), "nothing.stl"),
        (("screen", "nothing.toml"), "nothing.toml"),
        (("screen", SECTIONS), "--alloy"),
        (("screen", SECTIONS, "--alloy", "A3566"), "did you mean"),
        (("screen", __file__, "--alloy", "A356"), "not a kind of file"),
        (("relations", "sdas-cube-rot"), "did you mean"),
        (("materials", "unobtainium"), "unobtainium"),
    ],
)
def test_bad_words_end_in_one_clear_line_and_exit_2(words, says: str) -> None:
    said = castq(*words)
    assert said.code == 2
    assert says in said.err
    assert "Traceback" not in said.err
    assert len(said.err.strip().splitlines()) == 1


def test_faults_are_data_with_json() -> None:
    said = castq("screen", "nothing.toml", "--json")
    assert said.code == 2
    fault = json.loads(said.out)["faults"][0]
    assert set(fault) == {"source", "place", "found", "expected", "mend"}


def test_a_fault_of_castq_is_one_line_and_exit_3(monkeypatch: pytest.MonkeyPatch) -> None:
    import castq.files.intake as intake

    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("division by zero")

    monkeypatch.delenv("CASTQ_DEBUG", raising=False)
    monkeypatch.setattr(intake, "read_design", broken)
    said = castq("screen", SECTIONS, "--alloy", "A356")
    assert said.code == 3
    assert "internal fault, ZeroDivisionError" in said.err
    assert len(said.err.strip().splitlines()) == 1


def test_relations_are_listed_and_shown() -> None:
    listed = castq("relations")
    assert listed.code == 0
    assert "sdas-cube-root-time" in listed.out
    card = castq("relations", "gas-porosity-estimate")
    assert "closure" in card.out
    documents = json.loads(castq("relations", "--json").out)["relations"]
    assert len(documents) >= 40
    assert all(document["source"] for document in documents)


def test_materials_are_listed_and_shown() -> None:
    assert "AlSi7Mg0.3" in castq("materials").out
    card = castq("materials", "A356")
    assert "liquidus" in card.out.lower()
    assert json.loads(castq("materials", "H13", "--json").out)["id"] == "H13"
