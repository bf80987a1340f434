"""Pages for the tests: an empty one, and one with a week of samples and two screened designs."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from castq.files.library import keep
from castq.screening.screen import screen
from castq.screening.types import Limit
from tests.page.ground import Ground, Visitor, a_week
from tests.screening.cases import wheel

HOSTILE = '"><script>alert(1)</script><img src=x onerror=alert(2)>'
CHROMIUM = Path("/usr/bin/chromium")


@pytest.fixture
def ground(tmp_path: Path) -> Iterator[Ground]:
    made = Ground(tmp_path)
    yield made
    made.close()


@pytest.fixture
def visitor(ground: Ground) -> Visitor:
    return Visitor(ground)


@pytest.fixture(scope="session")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("library") / "designs"
    for name, limit in (("Wheel 17, five spokes", 1.2), ("Wheel 19, ten spokes", 0.2)):
        limits = (Limit("hub", "porosity_pct", "<=", 1.2, False), Limit("spoke", "porosity_pct", "<=", limit, False))
        keep(folder, screen(wheel(name=name, spoke=18.0, limits=limits), draws=128))
    return folder


@pytest.fixture(scope="module")
def busy(tmp_path_factory: pytest.TempPathFactory, library: Path) -> Iterator[Ground]:
    made = Ground(tmp_path_factory.mktemp("busy"), designs=library)
    a_week(made)
    yield made
    made.close()


@pytest.fixture(scope="session")
def shots(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder for screenshots: that of the environment, or one of this run."""
    named = os.environ.get("CASTQ_SHOTS")
    folder = Path(named) if named else tmp_path_factory.mktemp("shots")
    folder.mkdir(parents=True, exist_ok=True)
    return folder


@pytest.fixture(scope="module")
def browser():
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if not CHROMIUM.exists():
        reason = f"{CHROMIUM} is not installed"
        if os.environ.get("CASTQ_NO_SKIP") == "1":
            pytest.fail(reason)
        pytest.skip(reason)
    with playwright.sync_playwright() as p:
        chromium = p.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox", "--headless=new"])
        yield chromium
        chromium.close()
