"""The log book at full length: killed writers, writers at once, altered rows, a full disk, and its speed.

Run: python -m tests.bench.bench_logbook [--kills 1000] [--rows 5000] [--altered 1000] [--calls 40] [--only sqlite]
On a file, and on a PostgreSQL server where Debian's package is installed. A table is printed; nothing is asserted.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

from castq.files.logbook import NewEntry, StorageError, open_book
from tests.files.logbook.faults import alter_rows, fill_disk, flip_bits, kill_writers, write_together
from tests.files.logbook.ground import AT, Ground, file_ground, sample, server_ground
from tests.files.logbook.server import Server, programs
from tests.files.logbook.writer import Writers

YEAR_ROWS = 100_000
WRITERS = 4
REPEATS = 3


def line(what: str, found: object) -> None:
    print(f"  {what:<58} {found}", flush=True)


def fastest(action: Callable[[], Any]) -> str:
    walls, cpus = [], []
    for _ in range(REPEATS):
        wall, cpu = time.perf_counter(), time.process_time()
        action()
        walls.append(time.perf_counter() - wall)
        cpus.append(time.process_time() - cpu)
    return f"{min(walls):.2f} s ({min(cpus):.2f} s of this process)"


def year(rows: int) -> list[NewEntry]:
    return [NewEntry("sample", sample(n % 60, after="holding", sampled_by="shift A", readings=[]), "import",
                     AT + timedelta(minutes=5 * n)) for n in range(rows)]  # fmt: skip


def faults(new_ground: Callable[[], Ground], given: argparse.Namespace) -> None:
    writers = Writers()
    killed = kill_writers(new_ground(), writers, given.kills)
    line("kill -9 during writes", f"{killed.kills}: {killed.promised} rows promised, {killed.kept} kept, "
         f"{len(killed.lost)} lost, {len(killed.half_written)} half-written")  # fmt: skip
    together = write_together(new_ground(), writers, WRITERS, given.rows)
    whole = "complete" if together.complete else "NOT COMPLETE"
    line(f"{WRITERS} writers x {given.rows} rows", f"{together.rows} kept, {len(together.errors)} errors, {whole}, "
         f"{together.rows / together.seconds:.0f} rows/s")  # fmt: skip
    writers.close()
    ground = new_ground()
    with open_book(ground.place) as book:
        book.append_many(year(200))
        book.correct(5, sample(), "B", "misread")
    altered = alter_rows(ground, given.altered)
    line("altered fields", f"{altered.tried}: {altered.tried - len(altered.missed)} found, "
         f"{len(altered.named_wrong)} with the wrong row named")  # fmt: skip


def speed(ground: Ground, folder: Path) -> None:
    with open_book(ground.place) as book:
        times = []
        for number in range(500):
            start = time.perf_counter()
            book.append("sample", sample(number), "A", AT)
            times.append(time.perf_counter() - start)
        line("rows one by one", f"{1 / statistics.mean(times):.0f} rows/s, slowest {1000 * max(times):.0f} ms")
        entries = year(YEAR_ROWS)
        start = time.perf_counter()
        book.append_many(entries)
        line(f"{YEAR_ROWS} rows at once", f"{time.perf_counter() - start:.2f} s")
        line("table of all", fastest(book.frame))
        line(
            "table of one furnace, two fields",
            fastest(lambda: book.frame("sample", "furnace 1", fields=["melt_temp_c"])),
        )
        since = AT + timedelta(minutes=5 * (YEAR_ROWS - 100))
        line("last entries of one furnace", fastest(lambda: book.entries("sample", "furnace 1", since=since)))
        line("check of all", fastest(book.verify))
        line("backup, checked", fastest(lambda: book.backup(folder / "copy", force=True)))


@contextmanager
def small_disk(folder: Path) -> Iterator[Path]:
    folder.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", folder], check=True)
    try:
        yield folder
    finally:
        subprocess.run(["umount", folder], check=True)


def full_disk(folder: Path) -> None:
    """Write until a real disk of 256 kB is full, at many lengths of entry, so that it fills at other places."""
    if os.geteuid() != 0:
        line("a real disk of 256 kB", "needs root, left out")
        return
    fills, broken, sentences = 0, [], set()
    for letters in range(0, 4000, 40):
        with small_disk(folder / f"disk{letters}") as disk:
            kept = 0
            with open_book(disk / "book") as book:
                try:
                    for number in range(10_000):
                        kept = book.append("sample", sample(number, note="x" * letters), "A", AT).sequence
                except StorageError as error:
                    fills += 1
                    sentences.add(error.faults[0].found)
            with open_book(disk / "book") as book:
                if not book.verify().ok or book.head().rows != kept:
                    broken.append(letters)
    line(
        "a real disk of 256 kB filled", f"{fills}: {len(broken)} books not whole; said: {'; '.join(sorted(sentences))}"
    )


def failing_calls(folder: Path, call: str, error: str, *, only_once: bool, most: int) -> None:
    """Let the kernel refuse the first, second, third ... call of a kind, until a writer gets through untouched."""
    what = f"{call} number n {'refused' if only_once else 'and all later ones refused'} ({error})"
    if not shutil.which("strace"):
        line(what, "needs strace, left out")
        return
    refused, broken, position = 0, [], 0
    for position in range(1, most + 1):
        place = folder / f"{call}{position}{only_once}"
        with open_book(place) as book:
            book.append_many(year(3))
        inject = f"inject={call}:error={error}:when={position}{'' if only_once else '+'}"
        writer = [sys.executable, "-m", "tests.files.logbook.writer", place, "4"]
        command = ["strace", "-f", "-qq", "-o", "/dev/null", "-P", place, "-P", f"{place}-wal",
                   "-e", f"trace={call}", "-e", inject, *writer]  # fmt: skip
        run = subprocess.run(command, capture_output=True, text=True, check=False)
        told = [words.split(" ") for words in run.stdout.splitlines()]
        promised = {int(words[2]): words[3] for words in told if words[0] == "row"}
        with open_book(place) as book:
            kept = {entry.sequence: entry.row_hash for entry in book.entries()}
            if not book.verify().ok or not promised.items() <= kept.items() or told[-1][0] != "done":
                broken.append(position)
        if not any(words[0] == "error" for words in told):
            break
        refused += 1
    line(what, f"{position} positions: {refused} refused, {len(broken)} lost or damaged")


def on_file(folder: Path, given: argparse.Namespace) -> None:
    print("SQLite file")
    count = 0

    def new_ground() -> Ground:
        nonlocal count
        count += 1
        return file_ground(folder / f"book{count}")

    faults(new_ground, given)
    with open_book(folder / "small") as book:
        book.append_many(year(100))
        book.backup(folder / "one-file")
    flipped = flip_bits(folder / "one-file", given.altered)
    line("bits of the file flipped", f"{flipped.tried}: {flipped.tried - flipped.harmless} changed what is read, "
         f"{len(flipped.missed)} of them missed")  # fmt: skip
    (folder / "full").mkdir()
    full = fill_disk(folder / "full", step=800, positions=500)
    line(
        "disk full at every 800 bytes of 8 entries",
        f"{full.positions}: {full.refused} refused, {len(full.broken)} broken",
    )
    full_disk(folder)
    for call, error in (("pwrite64", "ENOSPC"), ("pwrite64", "EIO"), ("fdatasync", "EIO")):
        for only_once in (True, False):
            failing_calls(folder, call, error, only_once=only_once, most=given.calls)
    speed(new_ground(), folder)


def on_server(folder: Path, given: argparse.Namespace) -> None:
    bin_folder = programs()
    if bin_folder is None:
        print("PostgreSQL is not installed: left out")
        return
    version = subprocess.run([bin_folder / "postgres", "--version"], capture_output=True, text=True, check=True).stdout
    print(version.strip())
    server = Server(bin_folder)
    try:
        faults(lambda: server_ground(server, server.new_schema()), given)
        speed(server_ground(server, server.new_schema()), folder)
    finally:
        server.close()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name, standard in (("kills", 1000), ("rows", 5000), ("altered", 1000), ("calls", 40)):
        parser.add_argument(f"--{name}", type=int, default=standard)
    parser.add_argument("--only", choices=["sqlite", "postgresql"])
    given = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="castq-book-"))
    try:
        if given.only != "postgresql":
            on_file(folder, given)
        if given.only != "sqlite":
            on_server(folder, given)
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
