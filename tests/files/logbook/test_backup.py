"""A backup is one file, whole, checked, and written while others go on writing."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from castq.files.logbook import StorageError, open_book
from tests.files.logbook.faults import no_file_beyond
from tests.files.logbook.ground import AT, sample, samples


def test_a_backup_opens_as_a_book_with_the_same_chain(place: str, tmp_path: Path) -> None:
    copy = tmp_path / "copy.sqlite"
    with open_book(place) as book:
        book.append_many(samples(30))
        book.correct(3, sample(2, melt_temp_c=711.0), "B", "misread")
        done = book.backup(copy)
        assert done.path == copy and done.head == book.head()
        rows = book.entries(current=False)
    assert [path.name for path in tmp_path.iterdir() if "copy" in path.name] == ["copy.sqlite"]
    with open_book(copy, create=False) as book:
        assert book.entries(current=False) == rows and book.verify(done.head.note).ok
        assert book.append("sample", sample(), "A", AT).sequence == 32


def test_a_backup_of_an_empty_book(place: str, tmp_path: Path) -> None:
    with open_book(place) as book:
        assert book.backup(tmp_path / "copy").head.rows == 0
    with open_book(tmp_path / "copy", create=False) as book:
        assert book.append("sample", sample(), "A", AT).sequence == 1


def test_backups_while_others_write_are_whole(ground, writers, tmp_path: Path) -> None:
    with open_book(ground.place) as book:
        for name in ("one", "two"):
            writers.start(name, ground.place)
        for turn in range(5):
            writers.hear_until(lambda turn=turn: len(writers.rows) > 20 * (turn + 1))
            promised = dict(writers.rows)
            done = book.backup(tmp_path / f"copy{turn}")
            with open_book(done.path, create=False) as copy:
                kept = {entry.sequence: entry.row_hash for entry in copy.entries()}
                assert copy.verify().ok and copy.head() == done.head
            assert promised.items() <= kept.items()
        for name in ("one", "two"):
            writers.kill(name)
        assert writers.errors == [] and book.verify().ok


def test_a_backup_never_takes_the_place_of_a_file_unasked(tmp_path: Path) -> None:
    there = tmp_path / "there"
    there.write_text("mine")
    with open_book(tmp_path / "book") as book:
        book.append_many(samples(3))
        with pytest.raises(StorageError, match="there: is there already; choose another name for the backup"):
            book.backup(there)
        assert there.read_text() == "mine"
        assert book.backup(there, force=True).head.rows == 3
        for name, words in (("book", "is the log book itself"), ("no/such", "is no file that could be written"),
                            (".", "is no file that could be written")):  # fmt: skip
            with pytest.raises(StorageError, match=words):
                book.backup(tmp_path / name, force=True)
        with open_book(there) as other:
            other.append("sample", sample(), "A", AT)
            with pytest.raises(StorageError, match="is a log book in use"):
                book.backup(there, force=True)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["book", "there"]


def test_a_backup_without_room_leaves_nothing_and_the_old_one(place: str, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    with open_book(place) as book:
        book.append_many(samples(300))
        book.backup(copy)
        before = copy.read_bytes()
        for room in range(0, 150_000, 15_000):
            with no_file_beyond(room), pytest.raises(StorageError, match=r"copy: .*disk"):
                book.backup(copy, force=True)
            assert copy.read_bytes() == before
            assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []
        assert book.verify().ok


def test_a_backup_is_one_file_that_can_be_read_where_nothing_can_be_written(tmp_path: Path) -> None:
    with open_book(tmp_path / "book") as book:
        book.append_many(samples(3))
        book.backup(tmp_path / "copy")
    connection = sqlite3.connect(f"file:{tmp_path / 'copy'}?mode=ro&immutable=1", uri=True)
    assert connection.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    assert connection.execute("SELECT count(*) FROM melt_entries").fetchone() == (3,)
    connection.close()
