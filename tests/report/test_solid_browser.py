"""The player and the zone table in a real browser, from a file, with the network shut."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
import solid_sample as solid
from test_browser import Opened, browser  # noqa: F401

from castq.report.html import screening_html

pytestmark = pytest.mark.xdist_group("browser")


@pytest.fixture(scope="module")
def report(tmp_path_factory) -> Path:
    wheel, depth = solid.shape()
    path = tmp_path_factory.mktemp("solid") / "report.html"
    path.write_text(screening_html(solid.screening(), wheel, {"drawn": b"elsewhere"}, depth), encoding="utf-8")
    return path


def frame_of(page) -> str:
    return hashlib.sha256(page.locator(".lapse [data-part=frame]").get_attribute("src").encode()).hexdigest()


def test_the_player_plays_steps_and_stops_at_the_end(browser, report: Path) -> None:  # noqa: F811
    one = Opened(browser, report)
    page = one.page
    page.wait_for_selector(".lapse[data-ready=yes]")
    still = frame_of(page)
    page.locator(".lapse [data-part=on]").click()
    assert frame_of(page) != still
    page.locator(".lapse [data-part=back]").click()
    assert frame_of(page) == still
    slider = page.locator(".lapse [data-part=time]")
    slider.fill("0")
    assert page.locator(".lapse [data-part=clock]").inner_text() == "0.0 s"
    assert page.locator(".lapse [data-part=said]").inner_text().startswith("100 % of the metal")
    page.locator(".lapse [data-part=play]").click()
    for _ in range(100):
        page.wait_for_timeout(100)
        if int(slider.input_value()) > 2:
            break
    assert int(slider.input_value()) > 2
    assert page.locator(".lapse [data-part=play]").inner_text() == "Pause"
    slider.fill("40")
    assert page.locator(".lapse [data-part=play]").inner_text() == "Play"
    assert one.said == [] and one.from_outside() == []


def test_without_script_one_moment_shows_and_no_dead_buttons(browser, report: Path) -> None:  # noqa: F811
    one = Opened(browser, report, java_script_enabled=False)
    picture = one.page.locator(".lapse [data-part=frame]")
    assert picture.is_visible() and picture.bounding_box()["width"] > 300
    assert one.page.locator(".lapse [data-part=play]").is_hidden()
    assert one.page.locator(".lapse .without").is_visible()
    assert one.page.locator(".lapse .states li").count() == 5


def test_the_zone_table_keeps_names_and_the_worst_zone_in_view(browser, report: Path) -> None:  # noqa: F811
    page = Opened(browser, report).page
    assert page.locator("#zones .wider").is_hidden()
    page.set_viewport_size({"width": 800, "height": 900})
    assert page.locator("#zones .wider").is_visible()
    room = page.locator("#zones .scroll")
    box = room.bounding_box()
    for place in (0, 150, 10_000):
        room.evaluate("(e, x) => { e.scrollLeft = x; }", place)
        name = page.locator("#zones tbody th[scope=row]").first.bounding_box()
        worst = page.locator("#zones thead .worst").bounding_box()
        assert box["x"] - 2 <= name["x"] <= box["x"] + 2
        assert worst["x"] >= name["x"] + name["width"] - 2
        assert worst["x"] + worst["width"] <= box["x"] + box["width"] + 2
    assert page.evaluate("document.documentElement.scrollWidth") <= 800
