"""Writers in processes of their own: one that has everything loaded, and forks a writer whenever it is told to.

A writer tells each row that it was given back, so that the row is known to have been promised before the writer is
killed.
"""

from __future__ import annotations

import contextlib
import json
import os
import select
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

AT = datetime(2026, 3, 5, 14, 10, tzinfo=UTC)


def payload(writer: str, number: int) -> dict:
    return {"furnace": f"furnace {number % 3}", "alloy": "AlSi7Mg", "melt_temp_c": 700.0 + number % 50,
            "writer": writer, "number": number}  # fmt: skip


def _tell(*words: object) -> None:
    os.write(1, (" ".join(map(str, words)) + "\n").encode())


def _write(name: str, place: str, rows: int, at_once: int) -> None:
    from castq.core.errors import CastqError
    from castq.files.logbook import NewEntry, open_book

    number = 0
    try:
        with open_book(place) as book:
            while number < rows:
                entries = [NewEntry("sample", payload(name, number + k), name, AT) for k in range(at_once)]
                for entry in book.append_many(entries):
                    _tell("row", name, entry.sequence, entry.row_hash)
                number += at_once
    except CastqError as error:
        _tell("error", name, str(error).replace("\n", " "))
    _tell("done", name)


def main() -> None:
    import psycopg  # noqa: F401
    import sqlalchemy.dialects.postgresql.psycopg
    import sqlalchemy.dialects.sqlite  # noqa: F401

    import castq.files.logbook.book  # noqa: F401

    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    for line in sys.stdin:
        order = json.loads(line)
        if order["name"] == "":
            _tell("mark")
            continue
        pid = os.fork()
        if pid == 0:
            os.close(0)
            _write(**order)
            os._exit(0)
        _tell("pid", order["name"], pid)


class Writers:
    """The other end: starts writers, hears them, kills them."""

    def __init__(self) -> None:
        root = Path(__file__).parents[3]
        self._process = subprocess.Popen([sys.executable, "-m", "tests.files.logbook.writer"], cwd=root,
                                         stdin=subprocess.PIPE, stdout=subprocess.PIPE)  # fmt: skip
        self._rest = b""
        self.pids: dict[str, int] = {}
        self.rows: dict[int, str] = {}
        self.errors: list[str] = []
        self.done: set[str] = set()

    def close(self) -> None:
        self._process.stdin.close()
        self._process.wait(timeout=60)
        self._process.stdout.close()

    def forget(self) -> None:
        self.rows.clear()
        self.errors.clear()
        self.done.clear()

    def _order(self, **order: object) -> None:
        self._process.stdin.write((json.dumps(order) + "\n").encode())
        self._process.stdin.flush()

    def start(self, name: str, place: str, rows: int = 10**9, at_once: int = 1) -> None:
        self._order(name=name, place=place, rows=rows, at_once=at_once)
        self.hear_until(lambda: name in self.pids)

    def hear_until(self, heard, limit_s: float = 120.0) -> None:
        """Take in what writers tell until `heard()` holds."""
        end = time.monotonic() + limit_s
        while not heard():
            assert time.monotonic() < end, f"writers went silent: {self.errors}"
            self._hear(0.5)

    def _hear(self, wait_s: float) -> bool:
        stream = self._process.stdout.fileno()
        if not select.select([stream], [], [], wait_s)[0]:
            return False
        data = os.read(stream, 1 << 16)
        assert data, "the process that starts writers has died"
        *lines, self._rest = (self._rest + data).split(b"\n")
        marked = False
        for line in lines:
            what, *words = line.decode().split(" ")
            marked |= what == "mark"
            if what == "row":
                self.rows[int(words[1])] = words[2]
            elif what == "pid":
                self.pids[words[0]] = int(words[1])
            elif what == "error":
                self.errors.append(" ".join(words))
            elif what == "done":
                self.done.add(words[0])
        return marked

    def kill(self, name: str) -> None:
        """Kill a writer at once, wait until it is gone, and take in everything that it still told."""
        pid = self.pids.pop(name)
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)
            while True:
                os.kill(pid, 0)
                time.sleep(0.0005)
        self._order(name="")
        end = time.monotonic() + 60
        while not self._hear(0.5):
            assert time.monotonic() < end


if __name__ == "__main__":
    if len(sys.argv) > 1:
        _write("alone", sys.argv[1], int(sys.argv[2]), 1)
    else:
        main()
