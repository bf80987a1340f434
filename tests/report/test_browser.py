"""The report in a real browser, from a file, with the network shut: no error, no request, and the viewer works."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import report_sample as sample
from PIL import Image

from castq.report.html import comparison_html, screening_html

CHROMIUM = Path("/usr/bin/chromium")
ARGS = [
    "--no-sandbox",
    "--headless=new",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--ignore-gpu-blocklist",
]
pytestmark = pytest.mark.xdist_group("browser")


@pytest.fixture(scope="module")
def browser():
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if not CHROMIUM.exists():
        pytest.skip(f"{CHROMIUM} is not installed")
    with playwright.sync_playwright() as p:
        chromium = p.chromium.launch(executable_path=str(CHROMIUM), args=ARGS)
        yield chromium
        chromium.close()


class Opened:
    """A report opened from a file, with everything it said and asked for."""

    def __init__(self, browser, path: Path, **options) -> None:
        self.said: list[str] = []
        self.asked: list[str] = []
        context = browser.new_context(viewport={"width": 1200, "height": 900}, offline=True, **options)
        self.page = context.new_page()
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.goto(path.as_uri())

    def ready(self) -> None:
        self.page.wait_for_selector(".viewer[data-ready=yes]", timeout=60_000)
        self.settle()

    def settle(self) -> None:
        self.page.evaluate("() => new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(r)))")

    def picture(self) -> np.ndarray:
        self.settle()
        shot = self.page.locator("canvas").first.screenshot()
        return np.asarray(Image.open(io.BytesIO(shot)).convert("RGB")).astype(int)

    def box(self) -> dict[str, float]:
        canvas = self.page.locator("canvas").first
        canvas.scroll_into_view_if_needed()
        self.settle()
        return canvas.bounding_box()

    def from_outside(self) -> list[str]:
        return [address for address in self.asked if not address.startswith(("file:", "data:"))]


@pytest.fixture(scope="module")
def report(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("report") / "report.html"
    path.write_text(screening_html(sample.screening(), sample.wheel_fields(6.0)), encoding="utf-8")
    return path


@pytest.fixture
def opened(browser, report: Path) -> Opened:
    one = Opened(browser, report)
    one.ready()
    return one


def test_it_opens_without_error_and_asks_for_nothing(opened: Opened) -> None:
    assert opened.said == []
    assert len([address for address in opened.asked if address.startswith("file:")]) == 1
    assert opened.from_outside() == []


def test_the_canvas_shows_a_wheel(opened: Opened) -> None:
    image = opened.picture()
    assert len(np.unique(image.reshape(-1, 3), axis=0)) > 500
    background = (np.abs(image - image[5, 5]).sum(axis=2) < 6).mean()
    assert 0.1 < background < 0.9


def test_the_pointer_reads_value_zone_and_place(opened: Opened) -> None:
    box = opened.box()
    found = set()
    for across in np.linspace(0.3, 0.7, 9):
        for down in (0.3, 0.4, 0.5, 0.6):
            opened.page.mouse.move(box["x"] + across * box["width"], box["y"] + down * box["height"])
            found.add(opened.page.locator("[data-part=readout]").inner_text())
    values = [text for text in found if " s, " in text and " mm, z " in text]
    assert len(values) > 5
    assert any("hub (r " in text for text in values)
    assert "Point at the wheel to read a value." in found


def test_the_value_read_is_the_value_of_the_voxels(browser, tmp_path: Path) -> None:
    fields = sample.wheel_fields(6.0)
    x, y = (fields.grid.origin_mm[i] + 6.0 * (np.arange(fields.zone_codes.shape[i]) + 0.5) for i in range(2))
    quarter_radius = np.hypot(x[:, None], y[None, :])[:, :, None] / 4 + np.zeros(fields.zone_codes.shape)
    known = np.where(fields.zone_codes > 0, quarter_radius, np.nan).astype(np.float32)
    flat = replace(fields, fields={"sdas_um": known})
    path = tmp_path / "flat.html"
    path.write_text(screening_html(sample.screening(), flat), encoding="utf-8")
    one = Opened(browser, path)
    one.ready()
    box = one.box()
    checked = 0
    for across in np.linspace(0.35, 0.65, 13):
        one.page.mouse.move(box["x"] + across * box["width"], box["y"] + 0.42 * box["height"])
        text = one.page.locator("[data-part=readout]").inner_text()
        if "(r " in text and "≥" not in text and "≤" not in text:
            value, radius = float(text.split(" ")[0]), float(text.split("(r ")[1].split(" ")[0])
            assert value == pytest.approx(radius / 4, abs=1.6)
            checked += 1
    assert checked >= 3


def test_cut_result_view_and_zone_change_the_picture(opened: Opened) -> None:
    page, seen = opened.page, [opened.picture()]
    steps = (
        lambda: page.locator("[data-part=place]").fill("620"),
        lambda: page.locator("[data-part=cut]").select_option("none"),
        lambda: page.locator("[data-part=cut]").select_option("across"),
        lambda: page.locator("[data-part=result]").select_option(label="Porosity [%]"),
        lambda: page.locator("[data-part=result]").select_option(label="Verdict by zone"),
        lambda: page.locator("[data-part=zones] button").nth(3).click(),
        lambda: page.locator("[data-view=outboard]").click(),
    )
    for step in steps:
        step()
        seen.append(opened.picture())
        assert np.abs(seen[-1] - seen[-2]).mean() > 0.2
    assert page.locator("[data-part=placed]").inner_text().startswith("z ")
    assert opened.said == []


def test_dragging_zooming_and_keys_turn_the_wheel(opened: Opened) -> None:
    page, before = opened.page, opened.picture()
    box = opened.box()
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.move(*middle)
    page.mouse.down()
    page.mouse.move(middle[0] + 60, middle[1] + 20, steps=4)
    page.mouse.up()
    turned = opened.picture()
    assert np.abs(turned - before).mean() > 1.0
    page.mouse.wheel(0, -400)
    zoomed = opened.picture()
    assert np.abs(zoomed - turned).mean() > 1.0
    page.locator("canvas").first.focus()
    page.keyboard.press("ArrowLeft")
    assert np.abs(opened.picture() - zoomed).mean() > 1.0


@pytest.mark.parametrize("width", [800, 1400])
def test_nothing_sticks_out_sideways(opened: Opened, width: int) -> None:
    opened.page.set_viewport_size({"width": width, "height": 900})
    opened.settle()
    assert opened.page.evaluate("() => document.documentElement.scrollWidth") <= width


def test_without_javascript_the_still_picture_stands_in(browser, report: Path) -> None:
    one = Opened(browser, report, java_script_enabled=False)
    assert one.page.locator(".stills img").is_visible()
    assert not one.page.locator("canvas").first.is_visible()


def test_a_comparison_turns_both_wheels_together(browser, tmp_path: Path) -> None:
    path = tmp_path / "compare.html"
    fields = sample.wheel_fields(6.0)
    path.write_text(comparison_html(sample.comparison(), fields, sample.wheel_fields(6.0, 0.86)), encoding="utf-8")
    one = Opened(browser, path)
    one.ready()
    assert one.said == [] and one.from_outside() == []
    second = one.page.locator("canvas").nth(1)
    before = second.screenshot()
    one.page.locator("canvas").first.focus()
    one.page.keyboard.press("ArrowRight")
    one.settle()
    assert second.screenshot() != before
    box = one.box()
    one.page.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + 0.4 * box["height"])
    text = one.page.locator("[data-part=readout]").inner_text()
    assert "A: " in text and "B: " in text
