"""Killed writers, several at once, a full disk, a failing statement, a server gone: no promised row is lost."""

from __future__ import annotations

import multiprocessing
import os
import sqlite3
import tempfile
import threading
from pathlib import Path

import pytest
from sqlalchemy import event, exc

from castq.files.logbook import StorageError, open_book
from castq.files.logbook.rows import COLUMNS
from castq.files.logbook.store import Store
from tests.files.logbook.faults import fill_disk, kill_writers, no_file_beyond, write_together
from tests.files.logbook.ground import AT, sample, samples

KILLS, WRITERS, ROWS = 60, 4, 250


def test_killed_writers_lose_no_promised_row_and_leave_no_half_one(ground, writers) -> None:
    found = kill_writers(ground, writers, KILLS)
    assert found.lost == [] and found.half_written == []
    assert found.kills == KILLS and found.promised > 3 * KILLS


def test_writers_at_once_all_keep_their_rows(ground, writers) -> None:
    found = write_together(ground, writers, WRITERS, ROWS)
    assert found.errors == [] and found.rows == WRITERS * ROWS and found.complete


def test_threads_of_one_page_share_a_book(place: str) -> None:
    with open_book(place) as book:
        threads = [threading.Thread(target=lambda: [book.append("sample", sample(n), "A", AT) for n in range(10)])
                   for _ in range(8)]  # fmt: skip
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert book.verify().ok and book.head().rows == 80


def test_a_book_opened_for_the_first_time_by_many_is_made_once(ground, writers) -> None:
    for k in range(6):
        writers.start(f"writer{k}", ground.place, rows=3)
    writers.hear_until(lambda: len(writers.done) == 6)
    assert writers.errors == []
    with open_book(ground.place) as book:
        assert book.verify().ok and book.head().rows == 18


def test_a_disk_full_at_every_write_keeps_what_was_there(tmp_path: Path) -> None:
    found = fill_disk(tmp_path, step=5000, positions=70)
    assert found.broken == []
    assert found.positions == 70 and 40 < found.refused < 70
    assert found.sentences == {"BOOK: the disk refuses to write or read; have it freed or checked, then look whether "
                               "the row is there before you enter it again"}  # fmt: skip


def test_a_disk_without_room_for_a_new_book_leaves_a_whole_one_or_none(tmp_path: Path) -> None:
    none = 0
    for room in range(0, 60_000, 4000):
        folder = tmp_path / str(room)
        folder.mkdir()
        try:
            with no_file_beyond(room), open_book(folder / "book"):
                break
        except StorageError as error:
            assert "disk" in str(error) or "cannot be written" in str(error)
        left = {path.name for path in folder.iterdir()}
        assert left <= {"book", "book-wal", "book-shm"}
        none += not left
        with open_book(folder / "book") as book:
            assert book.verify().ok and book.append("sample", sample(), "A", AT).sequence == 1
    assert none > 3 and room > 30_000


def test_a_full_sqlite_file_is_told_in_one_sentence(tmp_path: Path, monkeypatch) -> None:
    original = Store._of_file

    def small(self: Store, path: Path, wait_s: float):
        engine = original(self, path, wait_s)
        event.listen(engine, "connect", lambda connection, _: connection.execute("PRAGMA max_page_count = 20"))
        return engine

    with open_book(tmp_path / "book"):
        pass
    monkeypatch.setattr(Store, "_of_file", small)
    kept = 0
    with open_book(tmp_path / "book") as book:
        with pytest.raises(StorageError, match="book: the disk is full, nothing of this entry was kept; free the disk"):
            for number in range(1000):
                kept = book.append("sample", sample(number), "A", AT).sequence
        assert kept > 5 and book.verify().rows == kept


def test_a_statement_that_fails_leaves_the_book_as_it_was(place: str) -> None:
    with open_book(place) as book:
        book.append_many(samples(2))
        for failing in range(1, 30):
            count = 0

            def fail(*_: object, failing: int = failing) -> None:
                nonlocal count
                count += 1
                if count == failing:
                    raise exc.OperationalError("statement", {}, sqlite3.OperationalError("disk I/O error"))

            event.listen(book._store.engine, "before_cursor_execute", fail)
            event.listen(book._store.engine, "commit", fail)
            try:
                book.append_many(samples(3))
                break
            except StorageError:
                pass
            finally:
                event.remove(book._store.engine, "before_cursor_execute", fail)
                event.remove(book._store.engine, "commit", fail)
            assert book.verify().ok and book.head().rows == 2
        assert failing > 5 and book.head().rows == 5 and book.verify().ok


def test_a_locked_book_is_told_after_the_wait(ground) -> None:
    with open_book(ground.place) as book, open_book(ground.place, wait_s=0.2) as other:
        book.append_many(samples(1))
        with book._store.writing() as connection:
            connection.exec_driver_sql("UPDATE melt_head SET rows = rows + 1")
            with pytest.raises(StorageError, match="is locked by another program for too long; wait until"):
                other.append("sample", sample(), "A", AT)
            assert len(other.entries()) == 1
            connection.rollback()
        other.append("sample", sample(), "A", AT)
        assert book.verify().ok


def _as_nobody(path: Path, said) -> None:
    rows = None
    if os.geteuid() == 0:
        os.setuid(65534)
    try:
        with open_book(path) as book:
            rows = len(book.entries())
            book.append("sample", sample(), "A", AT)
        said.put((rows, "written"))
    except StorageError as error:
        said.put((rows, str(error)))


@pytest.fixture
def open_folder():
    """A folder that every user of this machine can reach."""
    with tempfile.TemporaryDirectory(prefix="castq-book-") as folder:
        Path(folder).chmod(0o755)
        yield Path(folder)


def test_a_read_only_book_is_read_but_not_written(open_folder: Path) -> None:
    folder = open_folder
    path = folder / "book"
    with open_book(path) as book:
        book.append_many(samples(2))
        book.backup(folder / "copy")
    (folder / "copy").chmod(0o444)
    folder.chmod(0o555)
    fork = multiprocessing.get_context("fork")
    said = fork.Queue()
    child = fork.Process(target=_as_nobody, args=(folder / "copy", said))
    child.start()
    rows, sentence = said.get(timeout=60)
    child.join()
    folder.chmod(0o755)
    assert rows == 2
    assert sentence == f"{folder / 'copy'}: is read-only; ask for the right to write there"


@pytest.mark.xdist_group("postgresql")
def test_a_server_that_goes_down_keeps_every_promised_row(server, writers) -> None:
    place = server.url(server.new_schema())
    with open_book(place) as book:
        writers.start("writer", place)
        writers.hear_until(lambda: len(writers.rows) > 50)
        server.stop("immediate")
        try:
            with pytest.raises(StorageError, match="cannot be reached, or the connection broke") as caught:
                book.append("sample", sample(), "A", AT)
            assert server.password not in str(caught.value)
            writers.hear_until(lambda: "writer" in writers.done)
        finally:
            server.start()
        assert book.verify().ok
        kept = {entry.sequence: entry.row_hash for entry in book.entries()}
    assert all(kept.get(row) == row_hash for row, row_hash in writers.rows.items())
    assert len(writers.errors) == 1 and "connection broke" in writers.errors[0]


@pytest.mark.xdist_group("postgresql")
def test_a_connection_cut_within_an_entry_leaves_nothing_of_it(server) -> None:
    place = server.url(server.new_schema())
    with open_book(place) as book:
        book.append_many(samples(2))

        def cut(connection, *_: object) -> None:
            pid = connection.connection.driver_connection.info.backend_pid
            with server.connect() as other:
                other.execute("SELECT pg_terminate_backend(%s, 5000)", [pid])

        event.listen(book._store.engine, "commit", cut)
        with pytest.raises(StorageError, match=r"the connection broke|being shut down"):
            book.append("sample", sample(), "A", AT)
        event.remove(book._store.engine, "commit", cut)
        assert book.verify().rows == 2
        assert book.append("sample", sample(), "A", AT).sequence == 3


def test_many_rows_of_which_one_is_refused_are_all_left_out(ground) -> None:
    with open_book(ground.place) as book:
        book.append_many(samples(2))
        with ground.raw() as run:
            columns = ", ".join(COLUMNS[1:])
            run(f"INSERT INTO melt_entries (sequence, {columns}) SELECT 450, {columns} FROM melt_entries "
                "WHERE sequence = 2")  # fmt: skip
        with pytest.raises(StorageError, match="refuses a row that does not fit"):
            book.append_many(samples(600))
        with ground.raw() as run:
            run("DELETE FROM melt_entries WHERE sequence = 450")
        assert book.verify().rows == 2
        book.append_many(samples(600))
        assert book.verify().rows == 602 and [e.sequence for e in book.entries()] == list(range(1, 603))
