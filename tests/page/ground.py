"""A page that really listens, with a clock that is set by hand and an invented furnace behind it."""

from __future__ import annotations

import http.client
import re
import socket
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

import uvicorn

from castq.files.logbook import open_book
from castq.files.melt_book import enter
from castq.melt.types import DensityPair, MeltTarget, Sample
from castq.page.serving import TimedProtocol, bound, server_for
from castq.page.settings import PageSettings, PlantTime

ZONE = ZoneInfo("Europe/Berlin")
START = datetime(2026, 11, 24, 14, 10, tzinfo=ZONE)
FIELDS = {
    "furnace": "2", "furnace_other": "", "after": "after treatment", "alloy": "AlSi7Mg0.3", "melt_temp_c": "712,5",
    "hydrogen_ml_100g": "", "method": "densities", "in_air_g_cm3_1": "2,655", "in_vacuum_g_cm3_1": "2.601",
    "in_air_g_cm3_2": "2.654", "in_vacuum_g_cm3_2": "2.597", "test_pressure_mbar": "80", "taken_time": "",
    "taken_day": "today", "entered_by": "Kim", "note": "", "rows": "2", "do": "judge",
}  # fmt: skip


class Clock:
    """A clock that stands until it is set."""

    def __init__(self) -> None:
        self.at = START

    def __call__(self) -> datetime:
        return self.at


class Ground:
    """A page with its book, served from a thread on a free port of this machine."""

    def __init__(self, folder: Path, protocol: type[TimedProtocol] = TimedProtocol, **settings) -> None:
        self.clock = Clock()
        self.book = open_book(folder / "book.db", clock=self.clock)
        plant = PlantTime(ZONE, self.clock)
        self.socket = bound("127.0.0.1", 0)
        self.port = self.socket.getsockname()[1]
        given = {"furnaces": ("1", "2", "3"), "target": MeltTarget(0.12, 2.5), "time": plant, **settings}
        self.settings = PageSettings(self.book, port=self.port, **given)
        self.server: uvicorn.Server = server_for(self.settings, protocol)
        self.thread = threading.Thread(target=self.server.run, kwargs={"sockets": [self.socket]}, daemon=True)
        self.thread.start()
        end = time.monotonic() + 10.0
        while not self.server.started and time.monotonic() < end:
            time.sleep(0.01)

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def close(self) -> None:
        self.server.should_exit = True
        self.thread.join(10.0)
        self.socket.close()
        self.book.close()

    def rows(self) -> int:
        return self.book.head().rows

    def raw(self, data: bytes, wait_s: float = 5.0, more: Callable[[socket.socket], None] | None = None) -> bytes:
        """Send bytes as they are and return all that comes back until the other side closes or falls silent."""
        with socket.create_connection(("127.0.0.1", self.port), timeout=wait_s) as line:
            line.sendall(data)
            if more:
                more(line)
            got = b""
            try:
                while part := line.recv(65536):
                    got += part
                    if answer_ends(got):
                        break
            except (TimeoutError, ConnectionResetError):
                pass
            return got


def answer_ends(got: bytes) -> bool:
    head, gap, body = got.partition(b"\r\n\r\n")
    length = re.search(rb"content-length: (\d+)", head, re.IGNORECASE)
    return bool(gap) and length is not None and len(body) >= int(length[1])


def status_of(answer: bytes) -> int:
    match = re.match(rb"HTTP/1\.1 (\d{3}) ", answer)
    return int(match[1]) if match else 0


class Found(HTMLParser):
    """Hidden fields, text, elements and attributes of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.hidden: dict[str, str] = {}
        self.said: dict[str, str] = {}
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self._in = ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        values = dict(attrs)
        self.elements.append((tag, values))
        if tag == "input" and values.get("type") == "hidden":
            self.hidden.setdefault(values["name"], values["value"])
        if tag == "p":
            self._in = values["id"] if "wrong" in (values.get("class") or "") and values.get("id") else ""

    def handle_endtag(self, tag):
        if tag == "p":
            self._in = ""

    def handle_data(self, data):
        self.text += " " + data
        if self._in and data.strip():
            name = self._in.removesuffix("-said")
            self.said[name] = (self.said.get(name, "") + data).strip()

    @property
    def words(self) -> str:
        return " ".join(self.text.split())


class Visitor:
    """A browser without pictures: keeps its cookie, follows no link by itself."""

    def __init__(self, ground: Ground) -> None:
        self.ground, self.cookie = ground, ""
        self.headers: dict[str, str] = {}

    def ask(self, method: str, path: str, body: str = "", **headers: str) -> tuple[int, str]:
        line = http.client.HTTPConnection("127.0.0.1", self.ground.port, timeout=20)
        sent = {"Host": f"127.0.0.1:{self.ground.port}", **({"Cookie": self.cookie} if self.cookie else {})}
        if method == "POST":
            sent |= {"Origin": self.ground.address, "Content-Type": "application/x-www-form-urlencoded"}
        line.request(method, path, body or None, sent | headers)
        answer = line.getresponse()
        text = answer.read().decode()
        self.headers = {name.lower(): value for name, value in answer.getheaders()}
        if "set-cookie" in self.headers:
            self.cookie = self.headers["set-cookie"].partition(";")[0]
        line.close()
        return answer.status, text

    def ticket(self, path: str = "/") -> dict[str, str]:
        _, text = self.ask("GET", path)
        hidden = Found(text).hidden
        return {"key": hidden["key"], "token": hidden["token"]}

    def enter(self, **changes: str) -> tuple[int, str]:
        """Fill in a fresh form and send it."""
        return self.ask("POST", "/samples", urlencode({**FIELDS, **self.ticket(), **changes}))


def a_week(ground: Ground, furnace: str = "2", count: int = 40) -> None:
    """Fill the book with invented samples that drift upwards in the last days, without asking the clock."""
    back = ground.clock.at
    for i in range(count):
        ground.clock.at = START - timedelta(hours=4.0 * (count - i) - 1.5)
        index = 1.5 + 0.25 * ((i * 7) % 5 - 2) / 2 + (0.9 if i > count - 9 else 0.0)
        pairs = tuple(DensityPair(2.655, round(2.655 * (1 - (index + d) / 100), 4), 80.0) for d in (-0.12, 0.12))
        after = "before treatment" if i % 6 == 3 else "after treatment"
        sample = Sample(ground.clock.at, furnace, "AlSi7Mg0.3", 715.0, pairs, (), "Sam", after)
        if after == "before treatment":
            sample = replace(sample, pairs=tuple(DensityPair(2.655, 2.655 * 0.955, 80.0) for _ in range(2)))
        enter(ground.book, [sample], "Sam" if i % 2 else "Ada", clock=ground.clock)
    ground.clock.at = back
