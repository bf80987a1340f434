"""Rows are added, corrected by further rows, and read back in their order; on a file and on a server alike."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import psycopg
import pytest

from castq.core.errors import InputError
from castq.files.logbook import NewEntry, open_book
from castq.files.logbook.rows import COLUMNS
from tests.files.logbook.ground import AT, Ticking, sample, samples


def test_a_row_comes_back_as_it_was_given(place: str) -> None:
    at = datetime(2026, 10, 25, 2, 30, 15, 123456, tzinfo=timezone(timedelta(hours=5, minutes=45)))
    given = sample(3, note="Größe 3 \u2013 \U0001f525 \x00", reading=0.1 + 0.2, none=None, big=2**60)
    with open_book(place) as book:
        wrote = book.append("sample", given, "  Öz, shift B ", at)
    with open_book(place) as book:
        (read,) = book.entries()
    assert read == wrote
    assert read.payload == given
    assert (read.sequence, read.place, read.kind, read.furnace) == (1, 1, "sample", "furnace 0")
    assert read.at == at and read.at.utcoffset() == timedelta(hours=5, minutes=45)
    assert read.entered_by == "Öz, shift B" and read.replaces is None and read.warnings == ()


def test_a_correction_stands_in_the_place_of_the_row_it_corrects(place: str) -> None:
    with open_book(place) as book:
        book.append_many(samples(3))
        first = book.correct(2, sample(1, melt_temp_c=731.0), "shift B", "digits swapped")
        second = book.correct(first.sequence, sample(1, melt_temp_c=713.0), "shift B", "read again", AT)
        assert [entry.sequence for entry in book.entries()] == [1, 5, 3]
        assert [entry.sequence for entry in book.entries(current=False)] == [1, 2, 3, 4, 5]
        assert book.entry(2).payload["melt_temp_c"] == 701.0
        assert (first.replaces, first.place, first.kind, first.reason) == (2, 2, "sample", "digits swapped")
        assert first.at == AT + timedelta(minutes=1) and second.at == AT and second.place == 2
        with pytest.raises(InputError, match="row 2: was corrected before, by row 4; correct row 4 instead"):
            book.correct(2, sample(), "shift B", "again")
        with pytest.raises(InputError, match="row 9: is not in the book"):
            book.correct(9, sample(), "shift B", "none")
        with pytest.raises(InputError, match="reason: is missing"):
            book.correct(3, sample(), "shift B", "  ")
        assert len(book.entries(current=False)) == 5 and book.verify().ok


def test_a_row_entered_twice_is_withdrawn_and_stays_in_the_book(place: str) -> None:
    with open_book(place) as book:
        book.append_many(samples(2))
        gone = book.withdraw(2, "shift B", "entered twice")
        assert gone.kind == "correction" and gone.replaces == 2
        assert [entry.sequence for entry in book.entries()] == [1]
        assert len(book.frame()) == 1 and len(book.frame(current=False)) == 3
        with pytest.raises(InputError, match="is a withdrawal, which stays"):
            book.withdraw(gone.sequence, "shift B", "no")


def test_entries_are_picked_by_kind_furnace_time_and_number(place: str) -> None:
    with open_book(place) as book:
        book.append_many(samples(9))
        book.append("air", {"air_temp_c": 24.0, "relative_humidity_pct": 61.0}, "shift A", AT)
        assert [e.sequence for e in book.entries("sample", "furnace 1")] == [2, 5, 8]
        since, until = AT + timedelta(minutes=2), AT + timedelta(minutes=5)
        assert [e.sequence for e in book.entries(since=since, until=until)] == [3, 4, 5]
        assert [e.sequence for e in book.entries(since=since.astimezone(UTC), until=until)] == [3, 4, 5]
        assert [e.sequence for e in book.entries("sample", last=2)] == [8, 9]
        assert book.entries("air")[0].furnace == ""
        with pytest.raises(InputError, match="since: the time 2026-03-05 14:10:00 has no time zone"):
            book.entries(since=AT.replace(tzinfo=None))


def test_the_table_holds_the_fields_of_the_payload(place: str) -> None:
    with open_book(place) as book:
        assert len(book.frame()) == 0
        book.append_many(samples(4))
        book.append("air", {"air_temp_c": 24.0, "place": "not the book's"}, "shift A", AT)
        table = book.frame()
        assert list(table["sequence"]) == [1, 2, 3, 4, 5] and list(table["place"]) == [1, 2, 3, 4, 5]
        assert table["melt_temp_c"].tolist()[:4] == [700.0, 701.0, 702.0, 703.0]
        assert np.isnan(table["melt_temp_c"][4]) and table["air_temp_c"][4] == 24.0
        assert str(table["at"].dt.tz) == "UTC" and table["at"][0] == AT
        few = book.frame("sample", "furnace 0", fields=["alloy", "not there"])
        assert list(few["alloy"]) == ["AlSi7Mg", "AlSi7Mg"] and few["not there"].isna().all()
        assert "melt_temp_c" not in few


@pytest.mark.parametrize(
    ("entry", "sentence"),
    [
        (NewEntry("sampel", sample(), "A", AT), "kind: 'sampel' is none; did you mean sample"),
        (NewEntry("correction", sample(), "A", AT), "kind: 'correction' is none"),
        (NewEntry("sample", sample(), "A", AT.replace(tzinfo=None)),
         r"sample, time: the time 2026-03-05 14:10:00 has no time zone; give one, such as 2026-03-05T14:10:00\+01:00"),
        (NewEntry("sample", {}, "A", AT), "sample: holds nothing to keep"),
        (NewEntry("sample", {"x": float("nan")}, "A", AT), "sample: cannot be kept"),
        (NewEntry("sample", {"x": AT}, "A", AT), "sample: cannot be kept .Object of type datetime"),
        (NewEntry("sample", {"x": "y" * 70_000}, "A", AT), "sample: cannot be kept .it is 70008 letters long"),
        (NewEntry("sample", {1: "x"}, "A", AT), "sample: holds nothing to keep"),
        (NewEntry("sample", sample(), " ", AT), "entered by: is missing"),
        (NewEntry("sample", sample(), "A\nB", AT), "entered by: 'A B' cannot be kept"),
        (NewEntry("sample", sample(), "A" * 101, AT), "expected one line of at most 100 letters"),
        (NewEntry("sample", sample(furnace=3), "A", AT), "furnace: is missing"),
        (NewEntry("sample", sample(furnace="\x00"), "A", AT), "furnace: ' ?' cannot be kept"),
    ],
)  # fmt: skip
def test_what_no_row_can_hold_is_refused_and_nothing_is_written(entry: NewEntry, sentence: str, tmp_path) -> None:
    with open_book(tmp_path / "book") as book:
        with pytest.raises(InputError, match=sentence) as caught:
            book.append_many([*samples(1), entry])
        assert "\n" not in str(caught.value)
        assert book.head().rows == 0


def test_rows_are_never_changed_or_removed_even_by_plain_sql(ground, tmp_path) -> None:
    with open_book(ground.place) as book:
        book.append_many(samples(3))
        head = book.head()
    commands = ["UPDATE melt_entries SET furnace = 'x' WHERE sequence = 2", "DELETE FROM melt_entries",
                "DELETE FROM melt_head", "UPDATE melt_head SET rows = 2"]  # fmt: skip
    if ground.place.startswith("postgresql"):
        commands += ["TRUNCATE melt_entries", "TRUNCATE melt_head"]
        with psycopg.connect(ground.place, autocommit=True) as connection:
            for command in commands:
                with pytest.raises(psycopg.errors.RaiseException, match="never changed or removed"):
                    connection.execute(command)
    else:
        rest = ", ".join(name for name in COLUMNS if name != "sequence")
        copy = f"({rest}, sequence) SELECT {rest}, {{}} FROM melt_entries WHERE sequence = 2"
        commands += ["INSERT OR REPLACE INTO melt_entries " + copy.format(number) for number in ("2", "9")]
        connection = sqlite3.connect(ground.place)
        for command in commands:
            with pytest.raises(sqlite3.IntegrityError, match="never changed or removed"):
                connection.execute(command)
        connection.close()
    with open_book(ground.place) as book:
        assert book.verify().ok and book.head() == head


@pytest.mark.parametrize(
    ("step", "seconds", "words"),
    [
        (timedelta(hours=-1), 3600, "clock went back by 60 min"),
        (timedelta(days=-1), 86400, "clock went back by 1440 min"),
        (timedelta(seconds=-90), 90, "clock went back by 90 s"),
        (timedelta(days=-20518), 20518 * 86400, "clock went back by 29545920 min"),
        (timedelta(0), 0, ""),
        (timedelta(milliseconds=-400), 0, ""),
        (timedelta(days=400), 0, ""),
    ],
)
def test_a_clock_that_steps_back_is_told_and_the_order_kept(place: str, step, seconds: int, words: str) -> None:
    start = datetime(2026, 3, 6, 8, 0, tzinfo=UTC)
    made = Ticking(*[start] * 4)
    with open_book(place, made):
        pass
    with open_book(place, Ticking(start, start + step, start + step)) as book:
        rows = [book.append("sample", sample(n), "A", AT) for n in range(3)]
        read = book.entries()
    assert [row.clock_back_s for row in rows] == [0, seconds, 0]
    assert [bool(row.warnings) for row in rows] == [False, bool(words), False]
    assert words in "".join(rows[1].warnings)
    assert [row.sequence for row in read] == [1, 2, 3] and read == rows


def test_summer_time_is_no_step_of_the_clock(place: str) -> None:
    summer, winter = timezone(timedelta(hours=2)), timezone(timedelta(hours=1))
    times = [datetime(2026, 10, 25, 2, 59, tzinfo=summer), datetime(2026, 10, 25, 2, 1, tzinfo=winter),
             datetime(2027, 3, 28, 1, 59, tzinfo=winter), datetime(2027, 3, 28, 3, 1, tzinfo=summer)]  # fmt: skip
    with open_book(place):
        pass
    with open_book(place, Ticking(*times)) as book:
        rows = [book.append("sample", sample(n), "A", time) for n, time in enumerate(times)]
    assert [row.clock_back_s for row in rows] == [0, 0, 0, 0]
    assert [row.entered_at.isoformat() for row in rows] == [time.isoformat() for time in times]


def test_a_clock_without_a_time_zone_is_refused(tmp_path) -> None:
    with open_book(tmp_path / "book"):
        pass
    with open_book(tmp_path / "book", lambda: datetime(2026, 1, 1)) as book:
        with pytest.raises(InputError, match="clock of this machine: the time 2026-01-01 00:00:00 has no time zone"):
            book.append("sample", sample(), "A", AT)
        assert book.head().rows == 0
