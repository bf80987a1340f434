"""The page in a real browser, on a tablet and a phone, with JavaScript and without: fill in, read, see the chart."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from tests.page.ground import START, Ground

pytestmark = pytest.mark.xdist_group("browser")
SIZES = {"tablet": {"width": 834, "height": 1112}, "phone": {"width": 390, "height": 844}}
WAYS = [pytest.param(size, script, id=f"{size}-{'script' if script else 'plain'}")
        for size in SIZES for script in (True, False)]  # fmt: skip
SAMPLE = {
    "melt_temp_c": "712,5", "in_air_g_cm3_1": "2,655", "in_vacuum_g_cm3_1": "2,57", "in_air_g_cm3_2": "2.654",
    "in_vacuum_g_cm3_2": "2.575", "test_pressure_mbar": "80",
}  # fmt: skip
LEAST_PX = 48
# Everything that is touched, with its size, and how far the page is wider than the window.
TARGETS = """() => [...document.querySelectorAll('a, button, summary, input:not([type=hidden]), .pill')]
  .filter(e => e.checkVisibility() && !e.matches('.pill input, .default'))
  .map(e => { const r = e.getBoundingClientRect(); return [e.textContent.trim() || e.name, r.width, r.height]; })"""
TOO_WIDE = "() => document.documentElement.scrollWidth - window.innerWidth"
FONTS = """() => [...document.querySelectorAll('main *')].filter(e => e.checkVisibility() && [...e.childNodes]
  .some(n => n.nodeType === 3 && n.textContent.trim())).map(e => { const m = e.ownerSVGElement ?
  e.getScreenCTM().a : 1;
  return [e.textContent.trim().slice(0, 30), m * parseFloat(getComputedStyle(e).fontSize)]; })"""


class Tablet:
    """A browser window on the page, with everything it said and asked for."""

    def __init__(self, browser, ground: Ground, size: str, script: bool) -> None:
        self.said: list[str] = []
        self.asked: list[str] = []
        self.context = browser.new_context(viewport=SIZES[size], java_script_enabled=script, has_touch=True)
        self.page = self.context.new_page()
        self.page.set_default_timeout(15_000)
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.address = ground.address
        self.page.goto(self.address)

    def choose(self, name: str, value: str) -> None:
        self.page.locator(f'label.pill:has(input[name="{name}"][value="{value}"])').tap()

    def fill(self, fields: dict[str, str]) -> None:
        for name, value in fields.items():
            self.page.fill(f'[name="{name}"]', value)

    def begin(self, furnace: str, person: str) -> None:
        self.choose("furnace", furnace)
        self.choose("after", "after treatment")
        self.choose("alloy", "AlSi7Mg0.3")
        self.fill({**SAMPLE, "entered_by": person})

    def send(self) -> None:
        self.page.locator("button.main").tap()

    def said_at(self, name: str) -> str:
        return self.page.locator(f"#{name}-said").inner_text()

    def shot(self, folder: Path, name: str) -> None:
        path = folder / f"melt-page-{name}.png"
        self.page.screenshot(path=path, full_page=True)
        assert path.stat().st_size > 20_000


@pytest.fixture
def way(request: pytest.FixtureRequest) -> str:
    return request.node.callspec.id


@pytest.mark.parametrize(("size", "script"), WAYS)
def test_a_sample_is_filled_in_and_its_answer_read(
    browser, busy: Ground, shots: Path, size: str, script: bool, way: str
) -> None:
    busy.clock.at = START + timedelta(hours=[w.id for w in WAYS].index(way))
    tablet, before = Tablet(browser, busy, size, script), busy.rows()
    page = tablet.page
    tablet.shot(shots, f"{way}-1-empty")
    tablet.begin("2", "Kim")
    tablet.fill(
        {"melt_temp_c": "1320", "in_air_g_cm3_1": "2,57", "in_vacuum_g_cm3_1": "2,655", "test_pressure_mbar": ""}
    )
    tablet.send()
    page.wait_for_selector("p.notice.stop")
    tablet.shot(shots, f"{way}-2-mend")
    assert "1320 degF is 716 degC" in tablet.said_at("melt_temp_c")
    assert "swap the two" in tablet.said_at("in_vacuum_g_cm3_1")
    assert "The test pressure is missing" in tablet.said_at("test_pressure_mbar")
    assert tablet.said_at("in_air_g_cm3_1") == "2,57 read as 2.57 g/cm³"
    assert page.input_value('[name="entered_by"]') == "Kim"
    assert page.locator('input[name="furnace"][value="2"]').is_checked()
    assert busy.rows() == before
    tablet.fill(SAMPLE)
    tablet.send()
    page.wait_for_url(f"**/samples/{before + 1}")
    tablet.shot(shots, f"{way}-3-answer")
    assert page.locator("#answer").inner_text() == "Degas"
    assert "makes it 95 % sure" in page.locator(".tiles .first").inner_text()
    assert page.locator(".answer .sign.big").is_visible()
    assert "never shorten a hold" in page.locator(".cautions").inner_text()
    chart = page.locator(".chart svg[role=img]")
    assert chart.is_visible() and chart.locator(".this").count() == 1
    assert "drifted up" in page.locator(".chart figcaption").inner_text()
    assert page.locator(".samples tr.shown").count() == 1
    assert "712,5 read as 712.5 °C" in page.locator(".commas").inner_text()
    assert page.locator(".wheels li").count() == 2
    page.click("nav >> text=Today")
    tablet.shot(shots, f"{way}-4-day")
    assert all(address.startswith((tablet.address, "data:")) for address in tablet.asked)
    # The browser notes the 422 of the entries to mend by itself; nothing else may be said.
    assert [text for text in tablet.said if "422" not in text] == []
    tablet.context.close()


@pytest.mark.parametrize("size", SIZES)
def test_everything_can_be_touched_and_read(browser, busy: Ground, size: str) -> None:
    busy.clock.at = START + timedelta(hours=4)
    tablet = Tablet(browser, busy, size, True)
    tablet.page.locator("summary").first.click()
    for path in ("/", f"/samples/{busy.rows()}", "/day"):
        if path != "/":
            tablet.page.goto(tablet.address + path)
        small = [t for t in tablet.page.evaluate(TARGETS) if min(t[1:]) < LEAST_PX]
        assert small == [], path
        assert tablet.page.evaluate(TOO_WIDE) <= 0, path
        assert [f for f in tablet.page.evaluate(FONTS) if f[1] < 12.5] == [], path
    tablet.context.close()


def test_one_more_pair_and_weights_without_javascript(browser, busy: Ground) -> None:
    busy.clock.at = START + timedelta(hours=5)
    tablet, before = Tablet(browser, busy, "phone", False), busy.rows()
    page = tablet.page
    tablet.choose("method", "weights")
    assert page.locator('[name="air_dry_g_1"]').is_visible()
    assert not page.locator('[name="in_air_g_cm3_1"]').is_visible()
    tablet.choose("method", "none")
    assert not page.locator('[name="test_pressure_mbar"]').is_visible()
    tablet.choose("method", "densities")
    tablet.begin("2", "Ada")
    page.locator("button.more:visible").first.tap()
    page.wait_for_selector('[name="in_air_g_cm3_3"]')
    assert page.input_value('[name="melt_temp_c"]') == "712,5"
    third = {"in_air_g_cm3_3": "2,655", "in_vacuum_g_cm3_3": "2,58", "note": "three pairs"}
    tablet.fill(third)
    page.press('[name="note"]', "Enter")
    page.wait_for_url(f"**/samples/{before + 1}")
    assert len(busy.book.entry(before + 1).payload["pairs"]) == 3
    page.go_back()
    tablet.fill(third)
    tablet.send()
    page.wait_for_url(f"**/samples/{before + 1}*")
    assert busy.rows() == before + 1
    tablet.context.close()


def test_a_comma_is_told_while_typing(browser, busy: Ground) -> None:
    tablet = Tablet(browser, busy, "phone", True)
    tablet.page.locator('[name="melt_temp_c"]').press_sequentially("712,5")
    assert tablet.said_at("melt_temp_c") == "712,5 read as 712.5 °C"
    tablet.page.fill('[name="melt_temp_c"]', "712.5")
    assert tablet.page.locator("#melt_temp_c-said").inner_text() == ""
    assert tablet.said == []
    tablet.context.close()


def test_an_entry_is_taken_back_by_hand(browser, busy: Ground) -> None:
    busy.clock.at = START + timedelta(hours=6)
    tablet, before = Tablet(browser, busy, "tablet", True), busy.rows()
    tablet.begin("3", "Sam")
    tablet.send()
    tablet.page.wait_for_url(f"**/samples/{before + 1}")
    tablet.page.click("text=This entry is wrong")
    tablet.fill({"name": "Sam", "reason": "it was furnace 1"})
    tablet.page.click("text=Take this entry back")
    tablet.page.wait_for_selector("text=no longer counts")
    assert busy.rows() == before + 2
    assert busy.book.entries("sample", "3") == []
    tablet.context.close()
