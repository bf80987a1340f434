"""Entries: what is read, what is answered beside the field, what is written, and that it is written once."""

from __future__ import annotations

import threading
from datetime import datetime, timedelta
from urllib.parse import urlencode

import pytest

from castq.melt.types import Sample
from castq.page.desk import taken
from tests.page.conftest import HOSTILE
from tests.page.ground import FIELDS, START, ZONE, Found, Ground, Visitor


def written(ground: Ground) -> Sample:
    return taken(ground.settings, ground.book.entries("sample")[-1]).sample


def said(visitor: Visitor, **changes: str) -> dict[str, str]:
    """Return what is said beside the fields, having checked that nothing was written and all is still there."""
    status, text = visitor.enter(**changes)
    assert status == 422
    assert visitor.ground.rows() == 0
    found = Found(text)
    kept = {values["name"]: values.get("value") for tag, values in found.elements
            if tag == "input" and values.get("type") == "text"}  # fmt: skip
    for name, value in {**FIELDS, **changes}.items():
        assert kept.get(name, value) == value
    return found.said


def test_a_sample_is_written_as_entered(ground: Ground, visitor: Visitor) -> None:
    status, _ = visitor.enter(note="skimmed", in_air_g_cm3_2="", in_vacuum_g_cm3_2="")
    assert (status, visitor.headers["location"]) == (303, "/samples/1")
    sample, entry = written(ground), ground.book.entry(1)
    assert (sample.furnace, sample.alloy, sample.after, sample.note) == (
        "2",
        "AlSi7Mg0.3",
        "after treatment",
        "skimmed",
    )
    assert sample.melt_temp_c == 712.5
    assert [(p.in_air_g_cm3, p.in_vacuum_g_cm3, p.test_pressure_mbar) for p in sample.pairs] == [(2.655, 2.601, 80.0)]
    assert (entry.entered_by, entry.at, entry.at.utcoffset()) == ("Kim", START, timedelta(hours=1))
    assert entry.entered_at == START


def test_weights_give_the_density(ground: Ground, visitor: Visitor) -> None:
    empty = {f"in_{where}_g_cm3_{row}": "" for where in ("air", "vacuum") for row in (1, 2)}
    weights = {"air_dry_g_1": "102,40", "air_wet_g_1": "63.90", "vacuum_dry_g_1": "101", "vacuum_wet_g_1": "62.1"}
    assert visitor.enter(method="weights", water_temp_c="20", **empty, **weights)[0] == 303
    pair = written(ground).pairs[0]
    # Water of 20 degC: 0.99821 g/cm3 (handbook); air 0.0012 g/cm3 moves the density by 0.0002.
    assert pair.in_air_g_cm3 == pytest.approx(102.40 / 38.50 * 0.99821, abs=0.003)
    assert pair.in_vacuum_g_cm3 == pytest.approx(101.0 / 38.9 * 0.99821, abs=0.003)
    visitor.ask("GET", "/samples/1")


def test_a_comma_is_told_back(ground: Ground, visitor: Visitor) -> None:
    visitor.enter()
    words = Found(visitor.ask("GET", "/samples/1")[1]).words
    assert "712,5 read as 712.5 °C; 2,655 read as 2.655 g/cm³" in words
    _, text = visitor.enter(entered_by="", melt_temp_c="4,5")
    assert "2,655 read as 2.655 g/cm³" in Found(text).words


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"furnace": ""}, "furnace", "Choose the furnace"),
        ({"after": "sometime"}, "after", "Say when it was taken"),
        ({"alloy": "AlSi99"}, "alloy", "Choose the alloy"),
        ({"melt_temp_c": ""}, "melt_temp_c", "The melt temperature is missing"),
        ({"melt_temp_c": "hot"}, "melt_temp_c", "'hot' is not a number"),
        ({"melt_temp_c": "1.234,5"}, "melt_temp_c", "is not a number"),
        ({"melt_temp_c": "nan"}, "melt_temp_c", "is not a number"),
        ({"melt_temp_c": "1320"}, "melt_temp_c", "1320 degF is 716 degC: write that"),
        ({"melt_temp_c": "600"}, "melt_temp_c", "below the liquidus"),
        ({"in_air_g_cm3_1": "2.601", "in_vacuum_g_cm3_1": "2.655"}, "in_vacuum_g_cm3_1", "swap the two"),
        ({"in_air_g_cm3_2": "2655"}, "in_air_g_cm3_2", "looks like kg/m3"),
        ({"in_air_g_cm3_2": "2.9"}, "in_air_g_cm3_2", "above pore-free metal"),
        ({"in_vacuum_g_cm3_2": ""}, "in_vacuum_g_cm3_2", "The other half of this pair is filled in"),
        ({"in_air_g_cm3_2": "-2.6"}, "in_air_g_cm3_2", "cannot be"),
        ({"test_pressure_mbar": ""}, "test_pressure_mbar", "The test pressure is missing"),
        ({"test_pressure_mbar": "0.08"}, "test_pressure_mbar", "write 80 if it is in bar"),
        ({"test_pressure_mbar": "50"}, "test_pressure_mbar", "was set for 80 mbar"),
        ({"hydrogen_ml_100g": "12"}, "hydrogen_ml_100g", "out of range"),
        ({"hydrogen_ml_100g": "0,15 ppm"}, "hydrogen_ml_100g", "is not a number"),
        ({"entered_by": "  "}, "entered_by", "The name of who took the sample is missing"),
        ({"entered_by": "x" * 61}, "entered_by", "at most 60"),
        ({"note": "a\tb"}, "note", "one plain line"),
        ({"taken_time": "25:00"}, "taken_time", "is not a time"),
        ({"taken_time": "14:11"}, "taken_time", "14:11 is later than the plant's clock, which shows 14:10"),
        ({"taken_day": "yesterday"}, "taken_time", "Yesterday at what time?"),
        ({"air_dry_g_1": "100"}, "method", "Weights are filled in as well"),
    ],
)
def test_a_bad_entry_is_answered_beside_its_field(visitor: Visitor, changes: dict, field: str, words: str) -> None:
    found = said(visitor, **changes)
    assert set(found) == {field}
    assert words in found[field]


def test_all_bad_entries_are_answered_at_once(visitor: Visitor) -> None:
    found = said(visitor, melt_temp_c="1320", entered_by="", test_pressure_mbar="", in_air_g_cm3_1="2655")
    assert set(found) == {"melt_temp_c", "entered_by", "test_pressure_mbar", "in_air_g_cm3_1"}


def test_swapped_weights_and_no_measurement(visitor: Visitor) -> None:
    empty = {f"in_{where}_g_cm3_{row}": "" for where in ("air", "vacuum") for row in (1, 2)}
    weights = {"air_dry_g_1": "63.9", "air_wet_g_1": "102.4", "vacuum_dry_g_1": "101", "vacuum_wet_g_1": "62.1"}
    assert "swap the two weights" in said(visitor, method="weights", **empty, **weights)["air_wet_g_1"]
    assert "no pair yet" in said(visitor, **empty)["in_air_g_cm3_1"]
    assert "no measurement yet" in said(visitor, method="none", **empty)["method"]


def test_one_more_pair_keeps_everything_and_writes_nothing(ground: Ground, visitor: Visitor) -> None:
    status, text = visitor.enter(do="row")
    assert (status, ground.rows()) == (200, 0)
    assert Found(text).hidden["rows"] == "3"
    assert 'name="in_air_g_cm3_3"' in text and 'value="712,5"' in text
    for asked, shown in (("5", "6"), ("6", "6"), ("9999", "3"), ("-1", "3"), ("x", "3")):
        assert Found(visitor.enter(do="row", rows=asked)[1]).hidden["rows"] == shown


def test_an_earlier_time_is_of_the_plant(ground: Ground, visitor: Visitor) -> None:
    for text, day, expected in (
        ("13:55", "today", datetime(2026, 11, 24, 13, 55, tzinfo=ZONE)),
        ("23.50", "yesterday", datetime(2026, 11, 23, 23, 50, tzinfo=ZONE)),
        ("755", "today", datetime(2026, 11, 24, 7, 55, tzinfo=ZONE)),
    ):
        assert visitor.enter(taken_time=text, taken_day=day, note=text)[0] == 303
        assert ground.book.entries("sample", last=1)[0].at == expected


def test_hours_that_a_changed_clock_repeats_or_skips(ground: Ground, visitor: Visitor) -> None:
    ground.clock.at = datetime(2026, 10, 25, 8, 0, tzinfo=ZONE)
    words = said(visitor, taken_time="02:30")["taken_time"]
    assert "02:30+02:00 or 02:30+01:00" in words
    assert visitor.enter(taken_time="02:30+01:00")[0] == 303
    assert ground.book.entry(1).at.isoformat() == "2026-10-25T02:30:00+01:00"
    other = Visitor(ground)
    ground.clock.at = datetime(2027, 3, 28, 8, 0, tzinfo=ZONE)
    assert "never showed 02:30" in Found(other.enter(taken_time="02:30")[1]).said["taken_time"]


def test_a_clock_that_went_back_is_told_and_writes_nothing(ground: Ground, visitor: Visitor) -> None:
    assert visitor.enter()[0] == 303
    ground.clock.at = START - timedelta(hours=1)
    status, text = visitor.enter(note="after the step")
    assert (status, ground.rows()) == (409, 1)
    assert "before the newest row of the book" in Found(text).words
    assert "Nothing can be written" in Found(visitor.ask("GET", "/")[1]).words
    assert visitor.ask("GET", "/samples/1")[0] == 200


def test_a_double_click_writes_one_row(ground: Ground, visitor: Visitor) -> None:
    body = urlencode({**FIELDS, **visitor.ticket()})
    places = []

    def press() -> None:
        other = Visitor(ground)
        other.cookie = visitor.cookie
        assert other.ask("POST", "/samples", body)[0] == 303
        places.append(other.headers["location"])

    threads = [threading.Thread(target=press) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert (places, ground.rows()) == (["/samples/1"] * 6, 1)


def test_a_form_that_is_mended_and_sent_again_is_written_too(ground: Ground, visitor: Visitor) -> None:
    fields = {**FIELDS, **visitor.ticket()}
    for temp in ("712", "721", "712"):
        assert visitor.ask("POST", "/samples", urlencode({**fields, "melt_temp_c": temp}))[0] == 303
    assert visitor.headers["location"] == "/samples/1"
    assert [e.payload["melt_temp_c"] for e in ground.book.entries("sample")] == [712.0, 721.0]


def test_the_same_entry_from_a_fresh_form_is_noticed(ground: Ground, visitor: Visitor) -> None:
    visitor.enter()
    ground.clock.at += timedelta(minutes=3)
    assert visitor.enter()[0] == 303
    assert (visitor.headers["location"], ground.rows()) == ("/samples/1?again=1", 1)
    assert "Nothing was written twice" in Found(visitor.ask("GET", "/samples/1?again=1")[1]).words
    assert visitor.enter(note="second sample")[0] == 303
    assert ground.rows() == 2


def test_two_tablets_at_once_keep_the_book_whole(ground: Ground) -> None:
    def enter(name: str) -> None:
        tablet = Visitor(ground)
        for i in range(6):
            assert tablet.enter(entered_by=name, note=f"{i}")[0] == 303

    threads = [threading.Thread(target=enter, args=(name,)) for name in ("Kim", "Ada", "Sam")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    entries = ground.book.entries("sample")
    assert [e.sequence for e in entries] == list(range(1, 19))
    assert {(e.entered_by, e.payload["note"]) for e in entries} == {
        (name, f"{i}") for name in ("Kim", "Ada", "Sam") for i in range(6)
    }
    assert ground.book.verify().ok


def test_an_entry_is_taken_back_by_a_further_row(ground: Ground, visitor: Visitor) -> None:
    visitor.enter()
    for given in ({"name": "", "reason": "wrong furnace"}, {"name": "Ada", "reason": ""}):
        ticket = visitor.ticket("/samples/1")
        assert visitor.ask("POST", "/samples/1/withdraw", urlencode({**ticket, **given}))[0] == 422
    assert visitor.ask("POST", "/samples/1/withdraw", urlencode({"name": "Ada", "reason": "x"}))[0] == 403
    assert ground.rows() == 1
    ticket = visitor.ticket("/samples/1")
    body = urlencode({**ticket, "name": "Ada", "reason": "wrong furnace"})
    assert [visitor.ask("POST", "/samples/1/withdraw", body)[0] for _ in range(2)] == [200, 200]
    assert ground.rows() == 2
    assert ground.book.entries("sample") == []
    assert "It no longer counts" in Found(visitor.ask("GET", "/samples/1")[1]).words


def test_hostile_names_stay_text(ground: Ground, visitor: Visitor) -> None:
    for name in (HOSTILE[:60], "'; DROP TABLE entries; --", "{{ 7 * 7 }}", "</title><svg onload=x>", "Ö$x$ <b>"):
        assert visitor.enter(furnace_other=name, entered_by=name, note=name)[0] == 303
        place = visitor.headers["location"]
        for path in (place, "/day", "/", "/?" + urlencode({"furnace": name, "entered_by": name})):
            status, text = visitor.ask("GET", path)
            assert status == 200
            found = Found(text)
            assert [v.get("src") for tag, v in found.elements if tag == "script"] == [
                v["src"] for tag, v in found.elements if tag == "script" and v["src"].startswith("/own/page.js?")
            ]
            assert not [v for tag, v in found.elements if any(key.startswith("on") for key in v)]
            assert not [tag for tag, v in found.elements if tag in {"img", "b"} and "src" in v]
            assert " ".join(name.split()) in found.words or path == "/"
    assert ground.book.verify().ok


def test_a_book_that_cannot_be_written_keeps_the_entries(
    ground: Ground, visitor: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    from castq.files.logbook.errors import storage_error

    def full(*_: object, **__: object) -> None:
        raise storage_error("book", "the disk is full, nothing of this entry was kept", "free the disk")

    monkeypatch.setattr("castq.page.desk.enter", full)
    status, text = visitor.enter()
    assert status == 409
    assert "the disk is full" in Found(text).words and 'value="712,5"' in text
