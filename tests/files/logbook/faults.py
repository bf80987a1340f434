"""The faults a log book is put through, as often as asked: a few times by the tests, a thousand times by the bench."""

from __future__ import annotations

import random
import resource
import shutil
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from castq.files.logbook import StorageError, open_book
from castq.files.logbook.chain import HASHED
from tests.files.logbook.ground import AT, Ground, sample
from tests.files.logbook.writer import Writers, payload

ROWS = f"SELECT {', '.join(HASHED)}, previous_hash, row_hash FROM melt_entries ORDER BY sequence"
_LENGTHS = (1, 3)
_MORE = 20


@dataclass
class Kills:
    kills: int = 0
    promised: int = 0
    kept: int = 0
    lost: list[int] = field(default_factory=list)
    half_written: list[str] = field(default_factory=list)


def kill_writers(ground: Ground, writers: Writers, count: int, seed: int = 1) -> Kills:
    """Kill a writer at a random moment, again and again; each time look for every row that was promised."""
    rng, found, seen = random.Random(seed), Kills(), 0
    promised: dict[int, str] = {}
    with open_book(ground.place) as book:
        for turn in range(count):
            name = f"writer{turn}"
            writers.forget()
            writers.start(name, ground.place, at_once=rng.choice(_LENGTHS))
            wanted = rng.randrange(12)
            writers.hear_until(lambda wanted=wanted: len(writers.rows) >= wanted or writers.errors)
            time.sleep(rng.random() * 0.012)
            writers.kill(name)
            assert not writers.errors, writers.errors
            # A server may still keep an unpromised row of the dead writer while this is read: some more are read.
            read = book.entries(current=False, last=book.head().rows - seen + _MORE)
            new = [entry for entry in read if entry.sequence > seen]
            kept = {entry.sequence: entry.row_hash for entry in new}
            found.lost += [row for row, row_hash in writers.rows.items() if kept.get(row) != row_hash]
            promised |= writers.rows
            for entry in new:
                if entry.payload != payload(entry.payload["writer"], entry.payload["number"]):
                    found.half_written.append(f"row {entry.sequence}")
            found.kills, seen = found.kills + 1, max([seen, *kept])
        check, rows = book.verify(), {entry.sequence: entry.row_hash for entry in book.entries(current=False)}
        found.promised, found.kept = len(promised), len(rows)
        found.lost += [row for row, row_hash in promised.items() if rows.get(row) != row_hash]
        if not check.ok or check.rows != len(rows):
            found.half_written.append(check.words)
    return found


@dataclass
class Together:
    rows: int
    errors: list[str]
    seconds: float
    complete: bool


def write_together(ground: Ground, writers: Writers, count: int, rows: int) -> Together:
    """Let several processes write at once, each its own rows one by one."""
    names = {f"writer{k}" for k in range(count)}
    writers.forget()
    start = time.perf_counter()
    for name in names:
        writers.start(name, ground.place, rows)
    writers.hear_until(lambda: writers.done >= names, limit_s=3600.0)
    seconds = time.perf_counter() - start
    with open_book(ground.place) as book:
        entries = book.entries(current=False)
        check = book.verify()
    in_order = {name: [e.payload["number"] for e in entries if e.entered_by == name] for name in names}
    promised = writers.rows == {entry.sequence: entry.row_hash for entry in entries}
    complete = check.ok and promised and all(numbers == list(range(rows)) for numbers in in_order.values())
    return Together(len(entries), list(writers.errors), seconds, complete)


@dataclass
class Altered:
    tried: int = 0
    harmless: int = 0
    missed: list[str] = field(default_factory=list)
    named_wrong: list[str] = field(default_factory=list)


def alter_rows(ground: Ground, count: int, seed: int = 1) -> Altered:
    """Change one field of one row around castq, check, and change it back; again and again."""
    rng, found = random.Random(seed), Altered()
    columns = [*HASHED[1:], "previous_hash", "row_hash"]
    with open_book(ground.place) as book, ground.raw() as run:
        rows = book.verify().rows
        for _ in range(count):
            row, column = rng.randint(1, rows), rng.choice(columns)
            ((old,),) = run(f"SELECT {column} FROM melt_entries WHERE sequence = ?", row)
            run(f"UPDATE melt_entries SET {column} = ? WHERE sequence = ?", _other(old, column, rng, row), row)
            check = book.verify()
            what = f"{column} of row {row}"
            if check.ok:
                found.missed.append(what)
            elif check.fault_row != row:
                found.named_wrong.append(f"{what}: {check.words}")
            run(f"UPDATE melt_entries SET {column} = ? WHERE sequence = ?", old, row)
            found.tried += 1
        assert book.verify().ok
    return found


def _other(old: object, column: str, rng: random.Random, row: int) -> object:
    """Return another value that the table would take: a digit, a letter, or one of the bits."""
    if column == "replaces":
        return None if old is not None else _unused(row)
    if column == "place":
        return old - 1
    if isinstance(old, int):
        return old ^ (1 << rng.randrange(20))
    if not old:
        return "x"
    at = rng.randrange(len(old))
    letter = rng.choice([c for c in "0123456789abcdefgh" if c != old[at]])
    return old[:at] + letter + old[at + 1 :]


def _unused(row: int) -> int:
    # Rows 1 and 2 are never corrected by the rows that the tests write.
    return 1 if row > 1 else 0


def flip_bits(book_file: Path, count: int, seed: int = 1) -> Altered:
    """Flip a bit of the file, again and again; whenever the rows are read differently then, the check must say so."""
    rng, found, copy = random.Random(seed), Altered(), book_file.with_name("flipped")
    good = _rows_of(book_file)
    for _ in range(count):
        data = bytearray(book_file.read_bytes())
        at, bit = rng.randrange(len(data)), rng.randrange(8)
        data[at] ^= 1 << bit
        for left in copy.parent.glob("flipped*"):
            left.unlink()
        copy.write_bytes(data)
        same = _rows_of(copy) == good
        copy.write_bytes(data)
        try:
            with open_book(copy, create=False) as book:
                ok = book.verify().ok
        except StorageError:
            ok = False
        found.tried += 1
        found.harmless += same
        if ok and not same:
            found.missed.append(f"bit {bit} of byte {at}")
    return found


def _rows_of(path: Path) -> list[tuple] | None:
    try:
        with closing(sqlite3.connect(f"file:{path}?mode=ro&immutable=1", uri=True)) as connection:
            return connection.execute(ROWS).fetchall()
    except (sqlite3.Error, UnicodeDecodeError):
        return None


@contextmanager
def no_file_beyond(size: int) -> Iterator[None]:
    """Let every write fail that would make a file longer than this: a disk that is full, without needing one."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@dataclass
class Full:
    positions: int = 0
    refused: int = 0
    sentences: set[str] = field(default_factory=set)
    broken: list[str] = field(default_factory=list)


def fill_disk(folder: Path, step: int, positions: int) -> Full:
    """Let the disk be full after so many bytes more, position by position, through a few entries each time."""
    found, master = Full(), folder / "master"
    with open_book(master) as book:
        for number in range(20):
            book.append("sample", sample(number), "A", AT)
    for position in range(positions):
        place = folder / "full"
        for left in folder.glob("full*"):
            left.unlink()
        shutil.copy(master, place)
        _fill(place, position * step, found)
    return found


def _fill(place: Path, room: int, found: Full) -> None:
    kept = 20
    with open_book(place) as book:
        try:
            with no_file_beyond(room):
                for number in range(kept, kept + 8):
                    kept = book.append("sample", sample(number), "A", AT).sequence
        except StorageError as error:
            found.refused += 1
            found.sentences.add(str(error).replace(str(place), "BOOK"))
        check_after = book.verify()
        if not check_after.ok or check_after.rows != kept:
            found.broken.append(f"{room} bytes: {check_after.words}, {kept} promised")
        # Room again: the same open book goes on.
        book.append("sample", sample(99), "A", AT)
    with open_book(place) as book:
        if not book.verify().ok or len(book.entries()) != kept + 1:
            found.broken.append(f"{room} bytes, opened again")
    found.positions += 1
