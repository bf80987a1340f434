"""The melt commands of the furnace: judge and plan, answers, refusals, and that refusals write nothing."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from importlib import resources
from pathlib import Path

import jsonschema
import pytest

from tests.cli.run import castq

SAMPLE = ("--furnace", "1", "--alloy", "AlSi7Mg0.3", "--melt-temp", "720 degC")
SCHEMA = json.loads(resources.files("castq.report").joinpath("schemas", "melt.schema.json").read_text(encoding="utf-8"))


def pair(air: str = "2.65 g/cm3", vacuum: str = "2.60 g/cm3", pressure: str = "80 mbar") -> tuple[str, ...]:
    return ("--air", air, "--vacuum", vacuum, "--pressure", pressure)


def document(*words: object) -> dict:
    said = castq(*words, "--json")
    assert said.code in (0, 1), said.err
    found = json.loads(said.out)
    jsonschema.validate(found, SCHEMA)
    return found


def test_a_clean_melt_is_cast_and_a_dirty_one_is_not() -> None:
    clean = castq("melt", "judge", *SAMPLE, "--hydrogen", "0.06 ml/100g")
    dirty = castq("melt", "judge", *SAMPLE, "--hydrogen", "0.25 ml/100g")
    assert (clean.code, dirty.code) == (0, 1)
    assert clean.out.startswith("[+] Cast") and dirty.out.startswith("[!] Degas ")
    assert all(len(line) <= 100 for line in (clean.out + dirty.out).splitlines())


def test_the_answer_comes_first_and_says_equivalent_and_hazard() -> None:
    said = castq("melt", "judge", *SAMPLE, *pair())
    assert said.out.splitlines()[0].startswith("[!] Degas")
    assert "Take a new sample before tapping" in " ".join(said.out.split("Why")[0].split())
    assert "hydrogen-equivalent, not a measurement" in said.out
    assert "water under or in molten aluminium" in said.out


def test_density_index_and_bound_agree_with_a_hand_calculation() -> None:
    found = document("melt", "judge", *SAMPLE, *pair())
    assert found["density_index_pct"]["median"] == pytest.approx(100.0 * 0.05 / 2.65, rel=1e-4)
    assert found["hydrogen_is_equivalent"] is True
    assert found["density_index_bound_pct"] > found["density_index_pct"]["median"]


def test_weights_give_the_density_they_weigh() -> None:
    # 100 g that weigh 62.3 g in water at 20 degC: 100 / 37.7 * 0.9982 g/cm3, air buoyancy apart.
    found = document("melt", "judge", *SAMPLE, *pair("100 g / 62.3 g", "100 g / 61.6 g"))
    own = found["samples"][0]["pairs"][0]
    assert own["in_air_g_cm3"] == pytest.approx(100 / 37.7 * 0.9982, rel=2e-3)
    assert own["in_vacuum_g_cm3"] == pytest.approx(100 / 38.4 * 0.9982, rel=2e-3)


def test_a_floor_above_the_target_cannot_be_reached() -> None:
    damp = ("--air-temp", "35 degC", "--humidity", "90 %")
    said = castq("melt", "judge", *SAMPLE, "--hydrogen", "0.20 ml/100g", "--target", "0.05 ml/100g", *damp)
    assert said.code == 1 and said.out.startswith("[x] Cannot reach 0.05")
    assert "dew point" in said.out


REFUSED = [
    (pair("2650 g/cm3", "2600 g/cm3"), "looks like kg/m3.*write 2.650"),
    (pair("2.60 g/cm3", "2.65 g/cm3"), "denser than.*swap the two"),
    (pair("63.9 g / 102.4 g"), "swap the two weights"),
    (pair("2.95 g/cm3"), "above pore-free metal"),
    (pair()[:4], "test_pressure_mbar: is missing"),
    (("--hydrogen", "0.13 ppm"), "another unit.*write 0.145 ml/100g"),
    (("--hydrogen", "0.13"), "has no unit"),
    (("--hydrogen", "0.13 ml/100g", "--at", "2026-11-24T10:00"), "has no time zone"),
    (("--hydrogen", "0.13 ml/100g", "--at", "2999-11-24T10:00+01:00"), "has not come yet"),
    (("--hydrogen", "0.13 ml/100g", "--air-temp", "28 degC", "--humidity", "0.6 %"), "looks like a fraction.*60"),
    (("--hydrogen", "0.13 ml/100g", "--melt-temp", "1330 degC"), "1330 degF is 721 degC"),
    (("--hydrogen", "0.13 ml/100g", "--melt-temp", "500 degC"), "below the liquidus"),
    (("--hydrogen", "0.13 ml/100g", "--alloy", "Unobtainium"), "Unobtainium"),
    ((), "no measurement"),
]


@pytest.mark.parametrize(("words", "says"), REFUSED, ids=[says[:24] for _, says in REFUSED])
def test_a_bad_entry_is_one_clear_sentence_and_writes_nothing(
    words: tuple[str, ...], says: str, tmp_path: Path
) -> None:

    book = tmp_path / "melts.db"
    said = castq("melt", "judge", *SAMPLE, *words, "--write", "--by", "A", "--book", book)
    assert said.code == 2 and said.out == ""
    assert re.search(says, said.err), said.err
    assert "Traceback" not in said.err
    assert not book.exists()


def test_writing_needs_a_name_and_last_judges_what_was_written(tmp_path: Path) -> None:
    book = ("--book", tmp_path / "melts.db")
    nameless = castq("melt", "judge", *SAMPLE, *pair(), "--write", *book, "--by", "")
    assert nameless.code == 2 and "--by" in nameless.err and not book[1].exists()
    typed = document("melt", "judge", *SAMPLE, "--hydrogen", "0.20 ml/100g", "--write", "--by", "A. Melter", *book)
    assert typed["rows"] == [1] and typed["book"].endswith("melts.db")
    found = document("melt", "judge", "--last", "furnace 1", *book)
    assert found["answer"] == typed["answer"] == "degas"
    assert found["samples"] == typed["samples"]


def test_last_says_when_a_treatment_followed_the_sample(tmp_path: Path) -> None:
    by = ("--by", "A. Melter", "--book", tmp_path / "melts.db")
    castq("melt", "add", "sample", *SAMPLE, "--hydrogen", "0.20 ml/100g", "--at", "2026-03-02T10:00+01:00", *by)
    castq("melt", "add", "treatment", "--furnace", "1", "--minutes", 10, "--at", "2026-03-02T10:05+01:00", *by)
    found = document("melt", "judge", "--last", "1", "--now", "2026-03-02T10:30+01:00", *by[2:])
    assert any("treated at 10:05" in note for note in found["notes"])
    old = document("melt", "judge", "--last", "1", "--now", "2026-03-05T10:30+01:00", *by[2:])
    assert "3 days old" in old["notes"][0] and old["at"].startswith("2026-03-02T10:00")


def test_last_takes_no_typed_sample_and_an_unknown_furnace_is_refused(tmp_path: Path) -> None:
    by = ("--by", "A. Melter", "--book", tmp_path / "melts.db")
    castq("melt", "add", "sample", *SAMPLE, "--hydrogen", "0.20 ml/100g", *by)
    assert castq("melt", "judge", "--last", "1", *pair(), *by[2:]).code == 2
    said = castq("melt", "judge", "--last", "7", *by[2:])
    assert said.code == 2 and "holds no row of '7'" in said.err


def test_a_plan_has_minutes_second_opinion_effects_and_cautions() -> None:
    words = ("melt", "plan", "--hydrogen", "0.22 ml/100g", *SAMPLE[2:], "--melt", "600 kg", "--gas-flow", "20")
    found = document(*words)
    assert 0.0 < found["minutes_median"] < found["minutes_sure"]
    limits = found["second_opinion"]["diffusion_minutes"], found["second_opinion"]["gas_minutes"]
    assert found["second_opinion"]["minutes"] >= max(limits)
    assert found["course"]["median"][0] == pytest.approx(0.22, rel=0.02)
    damper = next(e for e in found["effects"] if e["change"] == "dew point +10 K")
    assert damper["difference_min"] > 0.0
    said = castq(*words)
    assert (
        said.code == 0
        and "class D extinguishing medium" in said.out
        and "shortens no hold" in " ".join(said.out.split())
    )


def test_a_target_out_of_reach_is_exit_code_1_and_null_minutes() -> None:
    words = ("melt", "plan", "--hydrogen", "0.22 ml/100g", *SAMPLE[2:], "--target", "0.05 ml/100g")
    assert castq(*words).code == 1
    assert document(*words)["minutes_sure"] is None


def test_judging_needs_nothing_heavy() -> None:
    code = (
        "import sys\nfrom castq.cli.main import run\n"
        f"try:\n    run({['melt', 'judge', *SAMPLE, *pair()]!r})\nexcept SystemExit as end:\n    assert end.code == 1\n"
        "heavy = ('pandas', 'matplotlib', 'sqlalchemy', 'numba', 'jinja2', 'trimesh')\n"
        "found = [n for n in heavy if n in sys.modules]\n"
        "assert not found, found\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


COMMANDS = [
    "judge",
    "plan",
    "correct",
    "log",
    "verify",
    "backup",
    "import",
    "chart",
    "study",
    "fit",
    "release",
    "card",
    "demo",
]


def test_every_melt_command_has_help_with_an_example_and_imports_nothing_heavy() -> None:
    code = (
        "import sys\nfrom castq.cli.main import run\n"
        f"for name in {COMMANDS!r}:\n    try:\n        run(['melt', name, '--help'])\n    except SystemExit as end:\n"
        "        assert end.code in (0, None)\n"
        "assert not [n for n in ('numpy', 'pandas', 'sqlalchemy', 'matplotlib') if n in sys.modules]\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert all(f"Example: castq melt {name}" in done.stdout for name in COMMANDS)
