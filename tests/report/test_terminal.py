"""Text for the terminal: fits, says the verdict first, and passes no control character on."""

from __future__ import annotations

import unicodedata
from dataclasses import replace

import pytest
import report_sample as sample

from castq.report.lines import WIDTH
from castq.report.terminal import comparison_text, screening_text

NASTY = (
    "wheel\x1b[31mred", "wheel\x1b]8;;http://evil.example\x1b\\x", "a\x07b", "a\x9b31mb", "a\rb", "a\nb", "a\x00b",
    "a\u202eb", "[/x]", "[link=x]y", "[bold]x", "a\u200bb", "x" * 400, "\x1b[2J", "a\x08\x08b", "%s%n", "\u2028",
    "a\tb", "a\x85b", "a\ufeffb",
)  # fmt: skip


def assert_clean(text: str) -> None:
    for line in text.split("\n"):
        assert len(line) <= WIDTH, line
        assert not [c for c in line if unicodedata.category(c) in ("Cc", "Cf", "Zl", "Zp")], repr(line)


@pytest.mark.parametrize("text", NASTY)
def test_no_control_character_of_a_name_reaches_the_terminal(text: str) -> None:
    hostile = sample.hostile(text)
    assert_clean(screening_text(hostile))
    base = sample.comparison()
    assert_clean(comparison_text(replace(base, a=hostile, b=hostile, warnings=(text,), only_in_b=(text,))))


def test_markup_in_a_name_is_shown_as_it_is() -> None:
    assert screening_text(sample.screening("[/x] [bold]")).startswith("[/x] [bold]")


def test_the_verdict_and_what_decides_it_come_first() -> None:
    lines = screening_text(sample.screening()).split("\n")
    assert lines[1] == "[x] FAILS"
    assert lines[2] == "    probability that every decided limit is met: 2 %"
    assert lines[4] == "[x] spoke-rim junction: fails"
    assert "Porosity misses its limit by 0.19 percentage points" in lines[5]
    assert "Warnings: 2" in lines
    assert lines[-1].endswith("outside the marked validity they are guesses.")


def test_every_zone_has_its_line_with_a_sign() -> None:
    text = screening_text(sample.screening())
    rows = [line for line in text.split("\n") if line.startswith("spoke-rim junction")]
    assert rows[0].split()[-1] == "[x]"
    assert "0.788 (0.53-1.2)" in rows[0]


def test_old_code_pages_can_print_it() -> None:
    screening_text(sample.screening()).encode("ascii")
    comparison_text(sample.comparison()).encode("ascii")
    assert ">= 4 %" in screening_text(sample.screening())


def test_the_comparison_names_both_sides_and_the_shared_draws() -> None:
    text = comparison_text(sample.comparison())
    assert "[~] MIXED" in text
    assert "What speaks for A:" in text and "What speaks for B:" in text
    row = next(line for line in text.split("\n") if line.startswith("[A] ") and "inboard flange" in line)
    assert "+0.113 (0.073 to 0.172)" in row
    assert "equal process only" in text


def test_a_screening_without_limits_says_so() -> None:
    base = sample.screening()
    empty = replace(base, checks=(), verdict="no limit", zones=base.zones.assign(risk="no limit"))
    assert "no limit was held against the wheel" in screening_text(empty)


def test_a_wide_band_is_told_coarser_and_not_cut() -> None:
    one = sample.screening()
    zones = one.zones.copy()
    zones["elongation_pct"], zones["elongation_pct_p10"], zones["elongation_pct_p90"] = 0.5213, 0.02213, 3.117
    text = screening_text(replace(one, zones=zones))
    assert "0.521 (0.02-3)" in text
    assert "..." not in text.split("Checks, worst first")[0]


def test_a_quantity_without_unit_leaves_no_stray_blank() -> None:
    text = comparison_text(sample.comparison())
    assert " ," not in text
    assert "solidificati..." not in text


def test_no_told_difference_is_not_others() -> None:
    base = sample.comparison()
    same = tuple(replace(d, verdict="no difference") for d in base.differences)
    text = comparison_text(replace(base, differences=same))
    assert f"all {len(same)} show no difference" in text
    assert "others" not in text
