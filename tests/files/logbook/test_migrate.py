"""Books of earlier castq are brought up to date with every row as it was; those of a later one are refused."""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path

import pytest

from castq import __version__
from castq.files.logbook import StorageError, open_book
from castq.files.logbook import migrate as steps
from castq.files.logbook.place import place_of
from castq.files.logbook.store import Store
from tests.files.logbook.ground import AT, Ticking, sample, samples

BOOK_V1 = Path(__file__).parents[2] / "compat" / "book-v1.sqlite"
# As it was noted when the book was stored.
NOTED_V1 = "5-c38343ab8fc446ec"


def look_at(book) -> None:
    assert book.verify(NOTED_V1).ok
    rows = book.entries()
    assert [row.sequence for row in rows] == [1, 2, 4, 5]
    assert [row.kind for row in rows] == ["sample", "treatment", "sample", "addition"]
    assert rows[2].payload["melt_temp_c"] == 712.0 and book.entry(3).payload["melt_temp_c"] == 7120.0
    assert rows[2].reason == "one nought too many" and rows[3].at.isoformat() == "2026-03-05T22:01:00+01:00"


def test_a_book_of_form_1_is_brought_up_to_date(tmp_path: Path) -> None:
    path = tmp_path / "book"
    shutil.copy(BOOK_V1, path)
    with sqlite3.connect(path) as before:
        assert before.execute("SELECT step FROM melt_steps").fetchall() == [(1,)]
    before.close()
    for _ in range(2):
        with open_book(path, Ticking()) as book:
            look_at(book)
    with open_book(path) as book:
        assert book.append("sample", sample(), "A", AT).sequence == 6 and book.verify(NOTED_V1).ok
    after = sqlite3.connect(path)
    assert after.execute("SELECT step, castq FROM melt_steps").fetchall() == [(1, "0.1.0"), (2, __version__)]
    assert after.execute("SELECT count(*) FROM sqlite_master WHERE name LIKE 'melt_by_%'").fetchone() == (4,)
    after.close()


@pytest.mark.xdist_group("postgresql")
def test_a_server_with_a_book_of_form_1_is_brought_up_to_date(server) -> None:
    schema = server.new_schema()
    place = server.url(schema)
    store = Store(place_of(place), 5.0)
    with store.writing() as connection:
        steps.bring_up(connection, "book", Ticking(), to=1)
    store.close()
    old = sqlite3.connect(BOOK_V1)
    with server.connect(schema) as connection:
        for row in old.execute("SELECT * FROM melt_entries ORDER BY sequence"):
            connection.execute(f"INSERT INTO melt_entries VALUES ({', '.join(['%s'] * len(row))})", row)
        connection.execute("UPDATE melt_head SET rows = %s, row_hash = %s",
                           old.execute("SELECT rows, row_hash FROM melt_head").fetchone())  # fmt: skip
    old.close()
    with open_book(place) as book:
        look_at(book)
    with server.connect(schema) as connection:
        assert connection.execute("SELECT step FROM melt_steps ORDER BY step").fetchall() == [(1,), (2,)]


def test_a_step_that_fails_leaves_the_old_book(tmp_path: Path, monkeypatch) -> None:
    path = tmp_path / "book"
    shutil.copy(BOOK_V1, path)

    def half(connection) -> None:
        connection.exec_driver_sql("CREATE TABLE half (x INTEGER)")
        connection.exec_driver_sql("CREATE TABLE half (x INTEGER)")

    monkeypatch.setattr(steps, "STEPS_MADE", (*steps.STEPS_MADE[:1], half))
    with pytest.raises(StorageError):
        open_book(path)
    monkeypatch.undo()
    kept = sqlite3.connect(path)
    assert kept.execute("SELECT name FROM sqlite_master WHERE name = 'half'").fetchall() == []
    assert kept.execute("SELECT step FROM melt_steps").fetchall() == [(1,)]
    kept.close()
    with open_book(path) as book:
        look_at(book)


def test_a_book_of_a_newer_castq_is_refused_and_left_alone(ground) -> None:
    with open_book(ground.place) as book:
        book.append_many(samples(2))
    with ground.raw() as run:
        run("INSERT INTO melt_steps VALUES (99, 0, '9.9')")
    with pytest.raises(StorageError, match=r"was written by a newer castq \(form 99, this one knows 2\); bring"):
        open_book(ground.place)
    with ground.raw() as run:
        assert run("SELECT count(*) FROM melt_entries") == [(2,)]
        run("UPDATE melt_steps SET step = 0 WHERE step = 99")
        run("DELETE FROM melt_steps WHERE step > 0")
    with pytest.raises(StorageError, match="is damaged: it does not say of which form it is"):
        open_book(ground.place)
