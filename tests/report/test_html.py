"""The page: nothing a user writes becomes mark-up, nothing is fetched, and what must be said is said."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
import report_sample as sample

from castq.core.cautions import BANNER
from castq.report.html import comparison_html, data_block, screening_html
from castq.screening.types import Screening

PAYLOADS = (
    "<script>alert(1)</script>", "</script><script>alert(1)</script>", "<img src=x onerror=alert(1)>",
    "\"><svg onload=alert(1)>", "'><body onload=alert(1)>", "<iframe src=javascript:alert(1)>",
    "</title><script>x</script>", "</style><script>x</script>", "<!--<script>", "]]><script>x</script>",
    "javascript:alert(1)",
    "\" onmouseover=\"alert(1)", "' onfocus='alert(1)' autofocus='", "<a href=javascript:alert(1)>x</a>",
    "<math><mtext></mtext><script>x</script></math>", "<object data=x>", "<embed src=x>", 
    "<base href=//evil.example>",
    "<meta http-equiv=refresh content=0;url=//evil.example>", "<form action=//evil.example><input></form>",
    "<link rel=stylesheet href=//evil.example>", "{{ 7*7 }}{% for x in y %}", "${alert(1)}",
    "\\u003cscript\\u003e",
    "&lt;script&gt;alert(1)&lt;/script&gt;", "<scr\x00ipt>x</script>", "＜script＞",
    "<svg><style><img src=x onerror=y>",
    "<details open ontoggle=alert(1)>", "<video><source onerror=alert(1)>",
)  # fmt: skip
KNOWN_TAGS = {
    "html", "head", "meta", "title", "style", "body", "svg", "defs", "symbol", "circle", "path", "rect", "use", "a",
    "nav", "main", "header", "p", "h1", "h2", "h3", "section", "div", "strong", "ol", "ul", "li", "em", "small",
    "table", "thead", "tbody", "tr", "td", "th", "figure", "figcaption", "img", "label", "select", "option", "input",
    "output",
    "span",
    "button", "canvas", "script", "dl", "dt", "dd", "code", "br",
}  # fmt: skip


class Page(HTMLParser):
    """Collects tags, attributes, text and scripts."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.scripts: list[tuple[dict[str, str | None], str]] = []
        self.text = ""
        self._script: dict[str, str | None] | None = None
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._script = dict(attrs) if tag == "script" else None

    def handle_data(self, data: str) -> None:
        if self._script is not None:
            self.scripts.append((self._script, data))
        else:
            self.text += data

    def handle_endtag(self, tag: str) -> None:
        self._script = None


@pytest.fixture(scope="module")
def fields():
    return sample.wheel_fields(6.0)


@pytest.fixture(scope="module")
def page(fields) -> str:
    return screening_html(sample.screening(), fields)


def assert_harmless(text: str) -> Page:
    parsed = Page(text)
    assert {tag for tag, _ in parsed.tags} <= KNOWN_TAGS
    for tag, attributes in parsed.tags:
        assert not [name for name in attributes if name.startswith("on")], (tag, attributes)
        for name in ("href", "src"):
            address = attributes.get(name)
            assert address is None or address.startswith(("#", "data:image/png;base64,")), address
    assert [attributes.get("id") for attributes, _ in parsed.scripts] in ([], ["viewer-data", None])
    return parsed


@pytest.mark.parametrize("payload", PAYLOADS)
def test_text_of_the_user_never_becomes_markup(payload: str) -> None:
    hostile = sample.hostile(payload)
    shown = assert_harmless(screening_html(hostile, pictures=False))
    assert shown.text.count(" ".join(payload.replace("\x00", " ").split())[:12]) >= 5 or "\x00" in payload
    base = sample.comparison()
    both = replace(base, a=hostile, b=hostile, warnings=(payload,), only_in_a=(payload,))
    assert_harmless(comparison_html(both, pictures=False))


def test_hostile_names_in_the_viewer_data_stay_data(fields) -> None:
    payload = "</script><script>alert(1)</script>"
    shown = assert_harmless(screening_html(sample.hostile(payload), fields))
    assert json.loads(shown.scripts[0][1])["wheels"][0]["name"] == payload
    assert "<" not in data_block({"x": payload})


def test_the_policy_allows_the_viewer_by_hash_and_nothing_else(page: str) -> None:
    parsed = Page(page)
    policy = next(
        a["content"] for t, a in parsed.tags if t == "meta" and a.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy is not None
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    script = parsed.scripts[1][1]
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert rules["default-src"] == "'none'"
    assert rules["script-src"] == f"'sha256-{digest}'"
    assert rules["img-src"] == "data:"
    assert "unsafe" not in rules["script-src"]


def test_nothing_is_fetched(page: str) -> None:
    assert not re.search(r"https?://|//[a-z]+\.|url\(|@import|\bsrcset\b", page)


def test_a_page_without_pictures_has_no_script(page: str) -> None:
    text = screening_html(sample.screening(), pictures=False)
    assert "<script" not in text
    assert "script-src &#39;none&#39;" in text
    assert "<canvas" not in screening_html(sample.screening(), None)
    assert "<canvas" in page


def test_the_verdict_comes_first_with_word_sign_and_probability(page: str) -> None:
    text = Page(page).text
    assert text.index("Fails") < text.index("Zones, along the chain")
    assert "#sign-fail" in page
    assert "every decided limit is met: 2 %" in text
    assert "Porosity misses its limit by 0.19 percentage points" in text


def test_cautions_cannot_be_lost(fields) -> None:
    bare = replace(sample.screening(), cautions=())
    text = Page(screening_html(bare, pictures=False)).text
    assert text.count(BANNER) == 2
    assert "ISO 3006" in text
    both = sample.comparison()
    assert BANNER in Page(comparison_html(replace(both, a=bare, b=bare), pictures=False)).text


def test_numbers_units_sources_and_provenance_are_in_the_page(page: str) -> None:
    text = Page(page).text
    for wanted in ("cm³", "µm", "MPa", "K/s", "≥ 7", "≤ 0.6*", "AlSi7Mg0.3", "9f2c" * 16, "256 draws, seed 20",
                   "not in this version's register", "house default", "demo_wheel.stl carries no unit"):  # fmt: skip
        assert wanted in text, wanted


def test_a_screening_without_limits_says_so() -> None:
    base = sample.screening()
    zones = base.zones.assign(risk="no limit")
    empty = replace(base, checks=(), verdict="no limit", zones=zones, probability_ok=float("nan"))
    text = Page(screening_html(empty)).text
    assert "No limit was given, so nothing was held against the wheel." in text
    assert "Against the limits" not in text


def test_a_comparison_shows_both_wheels_on_one_scale(fields) -> None:
    text = comparison_html(sample.comparison(), fields, sample.wheel_fields(6.0, 0.86))
    parsed = assert_harmless(text)
    data = json.loads(parsed.scripts[0][1])
    assert [wheel["name"] for wheel in data["wheels"]] == ["A", "B"]
    assert sum(tag == "canvas" for tag, _ in parsed.tags) == 2
    assert "What speaks for B" in parsed.text
    assert len(text) < 6e6


def test_the_same_result_gives_the_same_page(fields, page: str) -> None:
    assert screening_html(sample.screening(), fields) == page


def test_the_page_is_small_enough_to_mail(page: str) -> None:
    assert len(page) < 4e6


def test_zones_of_one_role_each_get_their_column() -> None:
    base: Screening = sample.screening()
    zones = base.zones.copy()
    zones["zone"] = [f"{zone} {i}" for i, zone in enumerate(zones["zone"])]
    text = Page(screening_html(replace(base, zones=zones, checks=()), pictures=False)).text
    assert "spoke-rim junction 4" in text
