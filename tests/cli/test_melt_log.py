"""The log book on the command line: rows, corrections, checks, copies, the demo week."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import pytest

from tests.cli.run import castq
from tests.cli.test_melt import SAMPLE, document

NOW = ("--now", "2026-06-11T04:42+01:00")


@pytest.fixture
def by(tmp_path: Path) -> tuple[object, ...]:
    return ("--by", "A. Melter", "--book", tmp_path / "melts.db")


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory):
    """Return the folder and the words of the invented week."""
    out = tmp_path_factory.mktemp("week") / "demo"
    said = castq("melt", "demo", "--out", out)
    assert said.code == 0, said.err
    return out, said.out


def test_each_kind_is_added_with_who_and_when(by) -> None:
    castq("melt", "add", "sample", *SAMPLE, "--hydrogen", "0.14 ml/100g", "--at", "2026-03-02T10:00+01:00", *by)
    castq("melt", "add", "treatment", "--furnace", "1", "--minutes", "12", "--rotor", "R1", *by)
    castq("melt", "add", "air", "--air-temp", "28 degC", "--humidity", "65 %", *by)
    said = castq(
        "melt", "add", "addition", "strontium", "--furnace", "1", "--amount", "1.2 kg", "--reaches", "180 ppm", *by
    )
    assert "class D" in said.out and "store it sealed and dry" in " ".join(said.out.split())
    rows = document("melt", "log", *by[2:])["rows"]
    assert [row["kind"] for row in rows] == ["sample", "treatment", "air", "addition"]
    assert {row["entered_by"] for row in rows} == {"A. Melter"}
    assert rows[0]["at"] == "2026-03-02T10:00:00+01:00"
    assert rows[3]["payload"]["reaches"] == 180.0


def test_a_refused_addition_leaves_no_book(by) -> None:
    for words in (("strontium", "--amount", "1 kg", "--reaches", "18000 ppm"), ("sodium", "--amount", "1 kg")):
        said = castq("melt", "add", "addition", *words, "--furnace", "1", *by)
        assert said.code == 2 and "Traceback" not in said.err
    assert castq("melt", "add", "treatment", "--furnace", "1", "--minutes", "720", *by).code == 2
    assert not by[3].exists()


def test_a_correction_is_a_new_row_and_the_old_one_stays(by) -> None:
    castq("melt", "add", "sample", *SAMPLE, "--hydrogen", "0.14 ml/100g", *by)
    done = castq("melt", "correct", 1, "--set", "melt_temp_c=705", "--set", "readings.1.hydrogen_ml_100g=0,15",
                 "--why", "misread", *by)  # fmt: skip
    assert done.code == 0 and "row 2 (stands for row 1)" in done.out
    (current,) = document("melt", "log", *by[2:])["rows"]
    assert current["payload"]["melt_temp_c"] == 705.0 and current["reason"] == "misread"
    assert current["payload"]["readings"][0]["hydrogen_ml_100g"] == 0.15
    both = document("melt", "log", "--all", *by[2:])["rows"]
    assert [row["payload"]["melt_temp_c"] for row in both] == [720.0, 705.0]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--set", "melt_temp_c=1330"), "1330 degF is 721 degC"),
        (("--set", "melt_tmp_c=700"), "melt_temp_c"),
        (("--set", "readings.2.hydrogen_ml_100g=0.1"), "no such place"),
        (("--set", "melt_temp_c=hot"), "melt_temp_c"),
        ((), "nothing is to be changed"),
        (("--withdraw", "--set", "note=x"), "beside --withdraw"),
        (("--at", "2999-01-01T00:00+01:00"), "has not come yet"),
    ],
)
def test_a_bad_correction_writes_nothing(by, words: tuple[str, ...], says: str) -> None:
    castq("melt", "add", "sample", *SAMPLE, "--hydrogen", "0.14 ml/100g", *by)
    said = castq("melt", "correct", 1, *words, "--why", "x", *by)
    assert said.code == 2 and says in said.err, said.err
    assert len(document("melt", "log", "--all", *by[2:])["rows"]) == 1


def test_a_withdrawn_row_is_out_but_kept(by) -> None:
    castq("melt", "add", "sample", *SAMPLE, "--hydrogen", "0.14 ml/100g", *by)
    assert castq("melt", "correct", 1, "--withdraw", "--why", "entered twice", *by).code == 0
    assert document("melt", "log", *by[2:])["rows"] == []
    assert len(document("melt", "log", "--all", *by[2:])["rows"]) == 2


def test_verify_finds_an_altered_row_and_backup_opens_as_a_book(by, tmp_path: Path) -> None:
    for value in ("0.14", "0.15"):
        castq("melt", "add", "sample", *SAMPLE, "--hydrogen", f"{value} ml/100g", *by)
    whole = castq("melt", "verify", *by[2:])
    assert whole.code == 0 and whole.out.startswith("[+]")
    assert castq("melt", "backup", tmp_path / "copy.db", *by[2:]).code == 0
    assert castq("melt", "backup", tmp_path / "copy.db", *by[2:]).code == 2
    with sqlite3.connect(by[3]) as raw:
        for (name,) in raw.execute("select name from sqlite_master where type = 'trigger'").fetchall():
            raw.execute(f"drop trigger {name}")
        raw.execute("update melt_entries set payload = replace(payload, '0.14', '0.04') where sequence = 1")
    raw.close()
    found = document("melt", "verify", *by[2:])
    assert not found["ok"] and found["fault_row"] == 1
    assert castq("melt", "verify", *by[2:]).code == 1
    assert document("melt", "verify", "--book", tmp_path / "copy.db")["ok"]


def test_no_command_that_reads_makes_a_book(tmp_path: Path) -> None:
    book = tmp_path / "none.db"
    for words in (("log",), ("verify",), ("chart",), ("study",), ("fit", "--furnace", "1"), ("judge", "--last", "1"),
                  ("card", "--out", tmp_path / "c"),
                  ("correct", 1, "--withdraw", "--why", "x", "--by", "A")):  # fmt: skip
        said = castq("melt", *words, "--book", book)
        assert said.code == 2 and "does not exist" in said.err, (words, said.err)
    assert not book.exists() and not (tmp_path / "c").exists()


def test_the_demo_opens_with_the_drift_that_was_put_into_it(demo) -> None:
    out, words = demo
    assert words.startswith("SYNTHETIC")
    assert "furnace 2: density index has drifted up since Tuesday 14:10" in words
    assert {p.name for p in out.iterdir()} == {"card", "charts", "melts.db", "melt_week.csv", "melt_week_map.toml"}
    assert castq("melt", "verify", "--book", out / "melts.db").code == 0


def test_the_chart_says_what_has_changed_and_its_page_stands_alone(demo, tmp_path: Path) -> None:
    said = castq("melt", "chart", "--book", demo[0] / "melts.db", "--out", tmp_path / "charts")
    assert said.code == 1 and said.out.startswith("[x] Something has changed")
    page = (tmp_path / "charts" / "charts.html").read_text(encoding="utf-8")
    assert "drifted up since Tuesday 14:10" in page and "default-src &#39;none&#39;" not in page
    assert 'src="http' not in page and "<script" not in page
    assert (tmp_path / "charts" / "chart-1.png").read_bytes().startswith(b"\x89PNG")
    found = document("melt", "chart", "--book", demo[0] / "melts.db")
    drift = next(c for c in found["charts"] if (c["furnace"], c["shift"], c["quantity"])
                 == ("furnace 2", "", "density_index_pct"))  # fmt: skip
    assert drift["state"] == "drifted up" and any(d["open"] for d in drift["departures"])


def test_the_study_tells_how_many_pairs_prove_a_mean(demo) -> None:
    found = document("melt", "study", "--book", demo[0] / "melts.db", "--limit", "2 %")
    needed = [size["pairs"] for size in found["sample_sizes"]]
    assert needed == sorted(needed) and needed[0] >= 2
    # 0.9 of the limit: margin 0.2 over a scatter of 0.54; t(0.95, n - 1) / sqrt(n) <= 0.370 first at n = 22.
    assert next(s["pairs"] for s in found["sample_sizes"] if s["mean_pct"] == pytest.approx(1.8)) == 22


def test_a_fit_is_stored_by_name_cited_and_used(demo, tmp_path: Path) -> None:
    book = tmp_path / "melts.db"
    assert castq("melt", "backup", book, "--book", demo[0] / "melts.db").code == 0
    path = tmp_path / "f1.toml"
    words = ("melt", "fit", "--furnace", "1", "--name", "north", "--out", path, "--book", book, "--by", "A. Melter")
    said = castq(*words, "--json")
    assert said.code in (0, 1), said.err
    found = json.loads(said.out)
    # The invented furnace takes hydrogen out at the default 0.18 per min.
    assert found["kinetics"]["rate_per_min"] == pytest.approx(0.18, rel=0.3)
    assert path.with_suffix(".png").read_bytes().startswith(b"\x89PNG")
    judged = document("melt", "judge", "--last", "1", *NOW, "--book", book)
    assert judged["kinetics"]["name"] == "north" and judged["kinetics"]["sha256"] == found["kinetics"]["sha256"]
    text = castq("melt", "judge", "--last", "1", *NOW, "--book", book).out
    assert "calibration 'north'" in text
    assert castq(*words).code == 2  # the file is there already


def test_a_clock_that_went_back_is_told_and_nothing_is_written(by, monkeypatch: pytest.MonkeyPatch) -> None:
    from datetime import UTC, datetime

    castq("melt", "add", "sample", *SAMPLE, "--hydrogen", "0.14 ml/100g", *by)
    monkeypatch.setattr("castq.files.melt_book.SYSTEM_CLOCK", lambda: datetime(2020, 1, 1, tzinfo=UTC))
    monkeypatch.setattr("castq.cli.melt_options.clock_now", lambda: datetime(2020, 1, 1, tzinfo=UTC))
    said = castq("melt", "correct", 1, "--set", "note=x", "--why", "y", *by)
    assert said.code == 2 and "before the newest row" in said.err
    assert len(document("melt", "log", "--all", *by[2:])["rows"]) == 1
