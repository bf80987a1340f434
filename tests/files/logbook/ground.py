"""A place for a log book, and a way around castq to what is stored there."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

from castq.files.logbook import NewEntry
from tests.files.logbook.server import Server

CET = timezone(timedelta(hours=1))
AT = datetime(2026, 3, 5, 14, 10, tzinfo=CET)
Run = Callable[..., list[tuple]]


@dataclass(frozen=True)
class Ground:
    """Where a book is, and how to run plain SQL there with the guards against changes off."""

    place: str
    raw: Callable[[], AbstractContextManager[Run]]


def _first_guards_off(connection: sqlite3.Connection) -> None:
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {name}")


def file_ground(path: Path) -> Ground:
    @contextmanager
    def raw() -> Iterator[Run]:
        with closing(sqlite3.connect(path, isolation_level=None)) as connection:
            _first_guards_off(connection)
            yield lambda sql, *values: connection.execute(sql, values).fetchall()

    return Ground(str(path), raw)


def server_ground(server: Server, schema: str) -> Ground:
    @contextmanager
    def raw() -> Iterator[Run]:
        with server.connect(schema) as connection:
            connection.execute("SET session_replication_role = replica")

            def run(sql: str, *values: object) -> list[tuple]:
                cursor = connection.execute(sql.replace("?", "%s"), values or None)
                return cursor.fetchall() if cursor.description else []

            yield run

    return Ground(server.url(schema), raw)


def sample(number: int = 0, **more: Any) -> dict[str, Any]:
    return {"furnace": f"furnace {number % 3}", "alloy": "AlSi7Mg", "melt_temp_c": 700.0 + number,
            "pairs": [{"in_air_g_cm3": 2.65, "in_vacuum_g_cm3": 2.5, "test_pressure_mbar": 80.0}], **more}  # fmt: skip


def samples(count: int) -> list[NewEntry]:
    return [NewEntry("sample", sample(n), "shift A", AT + timedelta(minutes=n)) for n in range(count)]


class Ticking:
    """A clock that shows one given time after the other, then goes on by a second each time."""

    def __init__(self, *times: datetime) -> None:
        self._times, self._last = list(times), times[-1] if times else datetime(2026, 3, 5, 12, tzinfo=UTC)

    def __call__(self) -> datetime:
        if self._times:
            return self._times.pop(0)
        self._last += timedelta(seconds=1)
        return self._last
