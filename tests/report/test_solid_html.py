"""The page at solid depth: the section says what it must, plays without outside help, and takes no mark-up."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace

import numpy as np
import pytest
import solid_sample as solid
from test_html import KNOWN_TAGS, PAYLOADS, Page

from castq.report.bundle import write_comparison_bundle, write_screening_bundle
from castq.report.html import comparison_html, screening_html
from castq.report.timelapse import FRAMES

TAGS = KNOWN_TAGS | {"h4"}


@pytest.fixture(scope="module")
def page() -> str:
    wheel, depth = solid.shape()
    return screening_html(solid.screening(), wheel, True, depth)


@pytest.fixture(scope="module")
def both() -> str:
    wheel, depth = solid.shape()
    return comparison_html(solid.comparison(), wheel, wheel, True, (depth, depth))


def test_the_section_says_what_it_must(page: str) -> None:
    text = " ".join(Page(page).text.split())
    for words in (
        "Freezing and feeding of the real shape", "A screening estimate from solved heat flow",
        "defers to the drawing, the standards and physical tests", "What was solved", "Zones of risk",
        "Liquid islands", "Choked by", "It lacks", "How far the voxel size matters", "not a bound", "An invented note.",
        "The die repeats itself after 6 shots", "5 like places", "the player needs JavaScript",
    ):  # fmt: skip
        assert words in text, words
    assert text.index("What was solved") < text.index("Zones of risk") < text.index("Grid index")
    assert 'href="#solid"' in page and 'id="solid"' in page


def test_the_frames_are_in_the_page_and_one_shows_without_script(page: str) -> None:
    parsed = Page(page)
    block = next(text for attributes, text in parsed.scripts if attributes.get("id") == "lapse-data")
    book = json.loads(block)
    assert len(book["frames"]) == len(book["times"]) == len(book["words"]) == FRAMES
    stills = [a for tag, a in parsed.tags if tag == "img" and a.get("data-part") == "frame"]
    assert len(stills) == 1
    source = stills[0]["src"] or ""
    assert source.removeprefix("data:image/png;base64,") in {frame[0] for frame in book["frames"]}
    assert "s after pouring" in (stills[0]["alt"] or "")
    assert ".player { display: none; }" in page
    assert len(page) < 6_000_000


def test_the_policy_allows_the_two_scripts_by_hash_and_nothing_else(page: str) -> None:
    parsed = Page(page)
    code = [text for attributes, text in parsed.scripts if attributes.get("id") is None]
    hashes = ["'sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() + "'" for text in code]
    policy = next(a["content"] or "" for t, a in parsed.tags if t == "meta" and "http-equiv" in a)
    assert f"script-src {' '.join(hashes)};" in policy and len(hashes) == 2
    assert not re.search(r"https?://|//[a-z]+\.|url\(|@import|\bsrcset\b", page)


@pytest.mark.parametrize("payload", PAYLOADS)
def test_text_of_the_solver_never_becomes_markup(payload: str) -> None:
    bad = solid.hostile(payload)
    for text in (
        screening_html(bad, pictures=False),
        comparison_html(replace(solid.comparison(), a=bad, b=bad), pictures=False),
    ):
        parsed = Page(text)
        assert {tag for tag, _ in parsed.tags} <= TAGS
        assert parsed.scripts == []
        for tag, attributes in parsed.tags:
            assert not [name for name in attributes if name.startswith("on")], (tag, attributes)
            address = attributes.get("href") or attributes.get("src")
            assert address is None or address.startswith(("#", "data:image/png;base64,")), address


def test_hostile_names_do_not_break_the_player(page: str) -> None:
    wheel, depth = solid.shape()
    payload = "</script><script>alert(1)</script>"
    text = screening_html(
        replace(solid.hostile(payload), solid=solid.screening().solid), wheel, {"drawn": b"elsewhere"}, depth
    )
    parsed = Page(text)
    assert [attributes.get("id") for attributes, _ in parsed.scripts] == ["viewer-data", None, "lapse-data", None]
    assert {tag for tag, _ in parsed.tags} <= TAGS


def test_section_depth_has_no_such_section() -> None:
    base = solid.screening()
    text = screening_html(replace(base, depth="section", solid=None), pictures=False)
    assert 'id="solid"' not in text and "real shape" not in text
    words_only = screening_html(base, pictures=False)
    assert 'id="solid"' in words_only and "<script" not in words_only and "lapse-data" not in words_only


def test_the_comparison_shows_both_side_by_side(both: str) -> None:
    parsed = Page(both)
    text = " ".join(parsed.text.split())
    for words in ("Design A: what was solved", "Design B: what was solved", "Liquid islands, every copy counted",
                  "Design A: zones of risk", "Design B: liquid islands"):  # fmt: skip
        assert words in text, words
    stills = [a for tag, a in parsed.tags if tag == "img" and a.get("data-part") == "frame"]
    assert len(stills) == 2
    shown = [a["alt"] for tag, a in parsed.tags if tag == "img" and "Niyama" in (a.get("alt") or "")]
    assert shown == ["Design A: Niyama value in half section", "Design B: Niyama value in half section"]
    assert len(both) < 6_000_000


def test_the_zone_table_hints_at_its_width_and_keeps_the_worst_zone(page: str) -> None:
    rows = len(re.findall(r'<th scope="row" title=', page))
    assert len(re.findall(r'<t[hd][^>]* class="(?:marked )?worst"', page)) == rows + 1
    assert "scroll it sideways for all 8 zones" in page
    assert "The column of the worst zone, spoke-rim junction, stays in view." in page


def test_the_first_page_says_limit_and_cause(page: str) -> None:
    first = page[: page.index('id="zones"')]
    assert first.count("<dt>Limit</dt>") == first.count("<dt>Cause</dt>") == 3


def test_the_folder_holds_tables_and_all_solved_fields(tmp_path) -> None:
    wheel, depth = solid.shape()
    write_screening_bundle(tmp_path / "one", solid.screening(), wheel, solid=depth, pictures=False)
    assert {"islands.csv", "risk_regions.csv", "fields.vti", "fields.npz"} <= {
        p.name for p in (tmp_path / "one").iterdir()
    }
    with np.load(tmp_path / "one" / "fields.npz") as held:
        for name in depth.fields:
            field = np.full(held["shape"], np.nan)
            field.ravel()[held["cells"]] = held[name]
            np.testing.assert_allclose(field, wheel.fields.get(name, depth.fields[name]), rtol=1.0 / 2000.0)
        units = dict(text.removesuffix("]").split(" [", 1) for text in held["field_units"].tolist())
    assert {name: units[name] for name in depth.fields} == {
        "liquidus_time_s": "s", "coherency_time_s": "s", "cutoff_time_s": "s", "solid_time_s": "s",
        "cooling_rate_k_per_s": "K/s", "gradient_k_mm": "K/mm", "feeding_margin": "-", "niyama": "(K s)^0.5/mm",
        "die_peak_c": "degC",
    }  # fmt: skip
    head = (tmp_path / "one" / "fields.vti").read_bytes()[:6000].decode("latin-1")
    assert all(f'Name="{name}"' in head for name in depth.fields)
    write_comparison_bundle(tmp_path / "two", solid.comparison(), (wheel, wheel), solids=(depth, depth), pictures=False)
    assert {"islands_a.csv", "islands_b.csv", "risk_regions_a.csv", "risk_regions_b.csv"} <= {
        p.name for p in (tmp_path / "two").iterdir()
    }
