"""Every test that asks for a `place` runs on a file and on a real server."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.files.logbook.ground import Ground, file_ground, server_ground
from tests.files.logbook.server import Server, programs
from tests.files.logbook.writer import Writers

# One server for all that need it, so all of them run in one process.
ON_SERVER = pytest.param("postgresql", marks=pytest.mark.xdist_group("postgresql"))


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    bin_folder = programs()
    if bin_folder is None:
        reason = "PostgreSQL is not installed (Debian: apt-get install postgresql)"
        if os.environ.get("CASTQ_NO_SKIP") == "1":
            pytest.fail(reason)
        pytest.skip(reason)
    running = Server(bin_folder)
    yield running
    running.close()


@pytest.fixture(params=["sqlite", ON_SERVER])
def ground(request: pytest.FixtureRequest, tmp_path: Path) -> Ground:
    if request.param == "sqlite":
        return file_ground(tmp_path / "book.sqlite")
    running = request.getfixturevalue("server")
    return server_ground(running, running.new_schema())


@pytest.fixture
def place(ground: Ground) -> str:
    return ground.place


@pytest.fixture
def writers() -> Iterator[Writers]:
    started = Writers()
    yield started
    started.close()
