"""Whatever is changed around castq is found, and the first row that is not as it was written is named."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

from castq.core.errors import InputError
from castq.files.logbook import StorageError, open_book
from tests.files.logbook.faults import alter_rows, flip_bits
from tests.files.logbook.ground import AT, Ticking, sample, samples

ALTERED = 100


def written(place: str, rows: int = 20) -> None:
    with open_book(place) as book:
        book.append_many(samples(rows - 2))
        book.correct(5, sample(4, melt_temp_c=711.0), "B", "misread")
        book.withdraw(7, "B", "entered twice")


def test_the_hash_is_what_the_book_says_it_is(tmp_path: Path) -> None:
    # By other means: SHA-256 of a JSON list that begins with the hash before; the payload a text with its keys sorted.
    with open_book(tmp_path / "book", Ticking()) as book:
        first, second = book.append_many(samples(2))
    text = json.dumps(second.payload, sort_keys=True, separators=(",", ":"))
    at_us = int(second.at.timestamp()) * 10**6
    entered_us = int(second.entered_at.timestamp()) * 10**6
    row = [first.row_hash, 2, 2, "sample", "furnace 1", at_us, 3600, text, "shift A", entered_us, 0, 0, None, ""]
    plain = json.dumps(row, separators=(",", ":")).encode()
    assert hashlib.sha256(plain).hexdigest() == second.row_hash
    assert first.previous_hash == "0" * 64 and second.previous_hash == first.row_hash


def test_altered_fields_are_found_and_their_row_named(ground) -> None:
    written(ground.place, 60)
    found = alter_rows(ground, ALTERED)
    assert found.tried == ALTERED and found.missed == [] and found.named_wrong == []


def test_flipped_bits_of_the_file_are_found(tmp_path: Path) -> None:
    written(str(tmp_path / "book"), 60)
    with open_book(tmp_path / "book") as book:
        book.backup(tmp_path / "one-file")
    found = flip_bits(tmp_path / "one-file", ALTERED)
    assert found.tried == ALTERED and found.missed == []
    assert found.harmless < 0.8 * ALTERED


@pytest.mark.parametrize(
    ("changes", "row", "words"),
    [
        (["DELETE FROM melt_entries WHERE sequence = 9"], 9, "row 9 is missing"),
        (["DELETE FROM melt_entries WHERE sequence = 1"], 1, "row 1 is missing"),
        (["DELETE FROM melt_entries WHERE sequence > 17"], 18, "row 18 is missing: the book once held 20 rows"),
        (["DELETE FROM melt_entries"], 1, "row 1 is missing: the book once held 20 rows"),
        (["UPDATE melt_entries SET sequence = 999 WHERE sequence = 9",
          "UPDATE melt_entries SET sequence = 9, place = 9 WHERE sequence = 10",
          "UPDATE melt_entries SET sequence = 10 WHERE sequence = 999"], 9, "row 9 was altered"),
        (["UPDATE melt_entries SET furnace = 'furnace 9' WHERE sequence IN (12, 15)"], 12, "row 12 was altered"),
        (["UPDATE melt_head SET rows = 19"], 21, "is not that of row 20"),
        (["UPDATE melt_head SET row_hash = 'x'"], 21, "is not that of row 20"),
        (["DELETE FROM melt_head"], 21, "is not that of row 20"),
    ],
)  # fmt: skip
def test_rows_taken_away_moved_or_changed(ground, changes: list[str], row: int, words: str) -> None:
    written(ground.place)
    with ground.raw() as run:
        for change in changes:
            run(change)
    with open_book(ground.place) as book:
        found = book.verify()
        assert not found.ok and found.fault_row == row and words in found.words
        assert f"{row - 1} rows before it are good" in found.words and found.rows == row - 1


def test_a_row_exchanged_with_its_hash_made_anew_breaks_the_next_link(ground) -> None:
    written(ground.place)
    _forge(ground, 8, upto=8)
    with open_book(ground.place) as book:
        found = book.verify()
    assert not found.ok and found.fault_row == 9 and "does not follow the row before it" in found.words


def test_a_book_forged_to_the_end_is_found_by_the_noted_head_only(ground) -> None:
    written(ground.place)
    with open_book(ground.place) as book:
        noted = book.head().note
        assert book.verify(noted).ok
        book.append("sample", sample(), "A", AT)
        assert book.verify(noted).ok
    _forge(ground, 8, upto=21)
    with open_book(ground.place) as book:
        assert book.verify().ok
        found = book.verify(noted)
        assert not found.ok and found.fault_row == 20 and "is not the one that was noted" in found.words


def test_rows_cut_off_with_the_head_put_back_are_found_by_the_noted_head(ground) -> None:
    written(ground.place)
    with open_book(ground.place) as book:
        noted = book.head().note
    with ground.raw() as run:
        run("DELETE FROM melt_entries WHERE sequence > 15")
        run("UPDATE melt_head SET rows = 15, row_hash = (SELECT row_hash FROM melt_entries WHERE sequence = 15)")
    with open_book(ground.place) as book:
        assert book.verify().ok
        found = book.verify(noted)
        assert not found.ok and found.fault_row == 16 and "the book once held 20 rows" in found.words


def _forge(ground, row: int, upto: int) -> None:
    """Change a row and make the hashes anew from there."""
    from castq.files.logbook.chain import HASHED, row_hash

    last = ""
    with ground.raw() as run:
        run("UPDATE melt_entries SET furnace = 'forged' WHERE sequence = ?", row)
        for number in range(row, upto + 1):
            ((*values, previous),) = run(
                f"SELECT {', '.join(HASHED)}, previous_hash FROM melt_entries WHERE sequence = ?", number)  # fmt: skip
            if number > row:
                previous = last
                run("UPDATE melt_entries SET previous_hash = ? WHERE sequence = ?", previous, number)
            last = row_hash(previous, values)
            run("UPDATE melt_entries SET row_hash = ? WHERE sequence = ?", last, number)
        if upto > 20:
            run("UPDATE melt_head SET row_hash = ?", last)


@pytest.mark.parametrize("noted", ["", "20", "20-abc", "x-0123456789abcdef", "20-0123456789ABCDEF"])
def test_a_noted_head_of_another_form_is_refused(tmp_path: Path, noted: str) -> None:
    with open_book(tmp_path / "book") as book:
        if not noted:
            assert book.verify(noted).ok
            return
        with pytest.raises(InputError, match=r"noted head: '.*' is none; expected the number of rows, a dash and 16"):
            book.verify(noted)


def test_nothing_is_added_to_a_book_whose_end_was_changed(ground) -> None:
    written(ground.place)
    with ground.raw() as run:
        run("DELETE FROM melt_entries WHERE sequence = 20")
    with open_book(ground.place) as book:
        with pytest.raises(StorageError, match="its last row is not the one it should be, nothing more is added"):
            book.append("sample", sample(), "A", AT)
        assert not book.verify().ok


def test_a_row_that_cannot_be_read_any_more_is_told(ground) -> None:
    written(ground.place)
    with ground.raw() as run:
        run("UPDATE melt_entries SET payload = '{' WHERE sequence = 4")
    with open_book(ground.place) as book:
        with pytest.raises(StorageError, match="row 4 is damaged; run the log book's check"):
            book.entries()
        with pytest.raises(StorageError, match="a row is damaged"):
            book.frame()
        assert book.verify().fault_row == 4


def test_letters_that_are_none_any_more_are_told(tmp_path: Path) -> None:
    import sqlite3

    written(str(tmp_path / "book"))
    connection = sqlite3.connect(tmp_path / "book", isolation_level=None)
    connection.execute("DROP TRIGGER melt_no_update")
    connection.execute("UPDATE melt_entries SET entered_by = CAST(x'41ff' AS TEXT) WHERE sequence = 4")
    connection.close()
    with open_book(tmp_path / "book") as book:
        with pytest.raises(StorageError, match="is damaged or cut short"):
            book.entries()
        found = book.verify()
        assert found.fault_row == 4 and "row 4 was altered" in found.words
        with pytest.raises(StorageError, match=r"is damaged .*no backup was kept"):
            book.backup(tmp_path / "copy")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["book"]
