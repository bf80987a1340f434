"""Import of a plant's table: what is written is what the plant wrote, once, and all of it or nothing."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from castq.core.errors import InputError
from castq.core.quantities import Unit
from castq.files.logbook import open_book
from castq.files.logbook.fields import Field
from castq.files.logbook.import_rows import import_rows
from castq.files.logbook.mapping import From, read_mapping
from castq.files.logbook.plant_cells import Bad, field_values
from castq.files.logbook.propose import propose_mapping
from castq.files.melt_demo import MAPPING, TABLE, write_melt_demo
from castq.melt.checks import check_samples
from castq.melt.records import record_of
from castq.melt.types import Sample
from tests.files.logbook.plant import NOW, ROW, SAMPLE, Plant, added, aired, cells, treated, weighed

DEMO = Path(__file__).parents[3] / "datasets" / "demo"
CET = timezone(timedelta(hours=1))
AT = datetime(2026, 3, 2, 14, 10, tzinfo=CET)


def entries(folder: Path) -> list:
    with open_book(folder / "book.sqlite") as book:
        assert book.verify().ok
        return book.entries()


def test_a_row_is_kept_as_the_plant_wrote_it(tmp_path: Path) -> None:
    result = Plant().imported(tmp_path)
    assert (result.rows, result.written, result.kinds, result.sequences) == (1, 1, {"sample": 1}, (1, 1))
    (entry,) = entries(tmp_path)
    assert (entry.kind, entry.furnace, entry.entered_by, entry.at.isoformat()) == (
        "sample", "F1", "A", "2026-03-02T14:10:00+01:00")  # fmt: skip
    assert entry.payload == {
        "furnace": "F1", "alloy": "AlSi7Mg0.3", "melt_temp_c": 720.0, "sampled_by": "A",
        "pairs": [{"in_air_g_cm3": 2.65, "in_vacuum_g_cm3": 2.6, "test_pressure_mbar": 80.0}],
        "readings": [{"hydrogen_ml_100g": 0.15}],
    }  # fmt: skip


def test_weights_become_densities_by_hand(tmp_path: Path) -> None:
    weighed().imported(tmp_path)
    (entry,) = entries(tmp_path)
    # Water of 20 degC 0.99821 g/cm3, air 0.0012 g/cm3: m_air (rho_w - rho_a) / (m_air - m_water) + rho_a.
    for name, water_g in (("in_air_g_cm3", 49.8), ("in_vacuum_g_cm3", 49.2)):
        by_hand = 80.0 * (0.99821 - 0.0012) / (80.0 - water_g) + 0.0012
        assert entry.payload["pairs"][0][name] == pytest.approx(by_hand, abs=5e-5)


def test_stated_units_are_converted(tmp_path: Path) -> None:
    plant = cells(Melt="1328", Air="2650", Vacuum="2600", mbar="8", H="0,135")
    for name, column, unit in (("melt_temp", "Melt", "degF"), ("in_air_density", "Air", "kg/m3"),
                               ("in_vacuum_density", "Vacuum", "kg/m3"), ("test_pressure", "mbar", "kPa"),
                               ("hydrogen", "H", "ppm")):  # fmt: skip
        plant.kinds["sample"][name] = f'{{ column = "{column}", unit = "{unit}" }}'
    plant.imported(tmp_path)
    payload = entries(tmp_path)[0].payload
    assert payload["melt_temp_c"] == pytest.approx(720.0)
    assert payload["pairs"][0] == pytest.approx(
        {"in_air_g_cm3": 2.65, "in_vacuum_g_cm3": 2.6, "test_pressure_mbar": 80.0}
    )
    # 1 ml of hydrogen in 100 g is 0.8994 ppm by mass.
    assert payload["readings"][0]["hydrogen_ml_100g"] == pytest.approx(0.135 / 0.8994, rel=1e-4)


def test_other_kinds_are_kept(tmp_path: Path) -> None:
    for number, (make, kind) in enumerate(((treated, "treatment"), (added, "addition"), (aired, "air"))):
        folder = tmp_path / str(number)
        folder.mkdir()
        make().imported(folder)
        (entry,) = entries(folder)
        assert entry.kind == kind
        record_of(kind, entry.payload, entry.at)
        if kind == "addition":
            assert entry.payload == {"furnace": "F1", "added": "strontium", "amount_kg": 1.5, "reaches": 160.0}


def many(count: int = 6) -> Plant:
    return Plant(rows=[ROW | {"Time": f"02.03.2026 14:{10 + n}"} for n in range(count)])


def test_one_bad_row_holds_all_back_and_good_ones_can_be_accepted(tmp_path: Path) -> None:
    plant = many()
    plant.rows[2]["Air"], plant.rows[2]["H"] = "2650", "x"
    result = plant.imported(tmp_path)
    assert (result.rows, result.written, result.held_back, result.refused_rows) == (6, 0, 5, 1)
    assert [(one.row, one.column) for one in result.refused] == [(4, "H")]
    assert result.words == "6 rows: 0 written, 5 good but not written, 1 refused"
    assert entries(tmp_path) == []
    result = plant.imported(tmp_path, accept_good=True)
    assert (result.written, result.held_back, result.refused_rows) == (5, 0, 1)
    assert len(entries(tmp_path)) == 5


def test_a_check_writes_nothing(tmp_path: Path) -> None:
    result = many().imported(tmp_path, check=True)
    assert (result.written, result.held_back) == (0, 6) and entries(tmp_path) == []
    table, mapping = many().write(tmp_path)
    assert import_rows(None, table, read_mapping(mapping), entered_by="A", clock=lambda: NOW).held_back == 6


def test_duplicates_in_the_table_and_in_the_book_are_not_written_again(tmp_path: Path) -> None:
    plant = many(3)
    plant.rows.append(plant.rows[2] | {"By": "B"})
    first = plant.imported(tmp_path)
    assert (first.written, [(one.row, one.same_as) for one in first.duplicates]) == (3, [(5, "row 4 of the table")])
    second = plant.imported(tmp_path)
    assert (second.written, len(second.duplicates), second.rows) == (0, 4, 4)
    assert second.duplicates[0].same_as == "row 1 of the log book"
    assert len(entries(tmp_path)) == 3


def test_a_corrected_or_withdrawn_row_does_not_come_back(tmp_path: Path) -> None:
    plant = many(2)
    plant.imported(tmp_path)
    with open_book(tmp_path / "book.sqlite") as book:
        entry = book.entry(1)
        book.correct(1, entry.payload | {"melt_temp_c": 715.0}, "B", "misread")
        book.withdraw(2, "B", "not ours")
    assert (plant.imported(tmp_path).written, len(entries(tmp_path))) == (0, 1)


def test_rows_that_hold_nothing_are_counted(tmp_path: Path) -> None:
    plant = many(3)
    plant.file["blank"] = '["-"]'
    plant.rows[1] |= dict.fromkeys(("Melt", "Air", "Vacuum", "H"), "-")
    plant.rows.append(dict.fromkeys(ROW, ""))
    result = plant.imported(tmp_path)
    assert (result.rows, result.written, result.empty) == (3, 2, 1)


def test_the_row_out_of_order_is_named_not_those_around_it(tmp_path: Path) -> None:
    plant = many(6)
    plant.rows[1]["Time"] = "12.03.2026 14:11"
    plant.rows.append(ROW | {"Time": "02.03.2026 10:00", "Furnace": "F2"})
    assert [one.row for one in plant.imported(tmp_path).refused] == [3]
    plant.time["order"] = '"none"'
    assert plant.imported(tmp_path, check=True).refused == ()


def test_rows_of_newest_first_are_written_in_order_of_time(tmp_path: Path) -> None:
    plant = many(4)
    plant.rows.reverse()
    plant.time["order"] = '"newest first"'
    assert plant.imported(tmp_path).written == 4
    assert [entry.at.minute for entry in entries(tmp_path)] == [10, 11, 12, 13]


@pytest.mark.parametrize(("fold", "utc_hour"), [("first", 0), ("second", 1)])
def test_a_stated_rule_settles_the_hour_that_was_twice(fold: str, utc_hour: int, tmp_path: Path) -> None:
    plant = cells(Time="26.10.2025 02:30")
    plant.time |= {"zone": '"Europe/Paris"', "fold": f'"{fold}"'}
    plant.imported(tmp_path)
    assert entries(tmp_path)[0].at.astimezone(UTC) == datetime(2025, 10, 26, utc_hour, 30, tzinfo=UTC)


def test_summer_and_winter_have_their_offsets(tmp_path: Path) -> None:
    plant = Plant(rows=[ROW, ROW | {"Time": "02.06.2026 14:10"}])
    plant.time["zone"] = '"Europe/Paris"'
    plant.imported(tmp_path)
    assert [entry.at.utcoffset() for entry in entries(tmp_path)] == [timedelta(hours=1), timedelta(hours=2)]


def test_date_and_time_in_two_columns_with_words_of_the_plant(tmp_path: Path) -> None:
    plant = Plant(rows=[{"Day": "02.03.2026", "Hour": "14:10"} | {k: v for k, v in ROW.items() if k != "Time"}])
    plant.rows[0]["Furnace"] = "north"
    plant.time |= {"column": '["Day", "Hour"]', "format": '["%d.%m.%Y", "%H:%M"]'}
    plant.kinds["sample"]["furnace"] = '{ column = "Furnace", values = { north = "furnace 1" } }'
    plant.imported(tmp_path)
    assert [(entry.at, entry.furnace) for entry in entries(tmp_path)] == [(AT, "furnace 1")]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252", "latin-1"])
def test_stated_encodings_are_read(encoding: str, tmp_path: Path) -> None:
    plant = Plant(rows=[ROW | {"Furnace": "Ofen ä"}], encoding=encoding)
    plant.file["encoding"] = f'"{encoding}"'
    plant.imported(tmp_path)
    assert entries(tmp_path)[0].furnace == "Ofen ä"


def test_point_and_comma_separated_is_read_when_stated(tmp_path: Path) -> None:
    row = ROW | {"Air": "2.650", "Vacuum": "2.600", "H": "0.15"}
    plant = Plant(raw=(",".join(row) + "\r\n" + ",".join(row.values()) + "\r\n").encode())
    plant.file |= {"separator": '","', "decimal": '"point"'}
    plant.imported(tmp_path)
    assert entries(tmp_path)[0].payload["pairs"][0]["in_air_g_cm3"] == 2.65


def test_dates_and_numbers_of_a_workbook_need_no_marks(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.append(list(ROW))
    book.active.append([datetime(2026, 3, 2, 14, 10), "F1", 720, 2.65, "2,600", 80, 0.15, "A"])
    book.save(tmp_path / "plant.xlsx")
    plant = Plant(name="plant.xlsx")
    del plant.file["encoding"], plant.file["separator"]
    assert plant.imported(tmp_path).written == 1
    (entry,) = entries(tmp_path)
    assert (entry.at, entry.payload["pairs"][0]["in_vacuum_g_cm3"]) == (AT, 2.6)


def test_the_demo_week_is_as_committed_and_goes_round(tmp_path: Path) -> None:
    demo = write_melt_demo(tmp_path)
    for name, path in ((TABLE, demo.table), (MAPPING, demo.mapping)):
        data = path.read_bytes()
        assert data == (DEMO / name).read_bytes() and data.startswith(b"# SYNTHETIC")
    with open_book(tmp_path / "book.sqlite") as book:
        mapping = read_mapping(demo.mapping)
        result = import_rows(book, demo.table, mapping, entered_by="A", clock=lambda: NOW)
        assert result.refused == () and result.written == result.rows > 500
        again = import_rows(book, demo.table, mapping, entered_by="A", clock=lambda: NOW)
        assert (again.written, len(again.duplicates)) == (0, result.rows)
        kept = book.entries()
    lines = demo.table.read_text(encoding="cp1252").splitlines()[3:]
    in_file = sorted((cells[0], cells[2]) for cells in (line.split(";") for line in lines))
    words = {"sample": "SAMPLE", "treatment": "DEGAS", "addition": "ADD", "air": "AIR"}
    assert in_file == sorted((f"{entry.at:%d.%m.%Y %H:%M}", words[entry.kind]) for entry in kept)
    assert {entry.at.utcoffset() for entry in kept} == {timedelta(hours=1)}
    for entry in kept:
        record = record_of(entry.kind, entry.payload, entry.at)
        if isinstance(record, Sample):
            check_samples((record,))
    written = sorted(line.split(";")[6].replace(",", ".") for line in lines if line.split(";")[6])
    assert written == sorted(f"{e.payload['pairs'][0]['in_air_g_cm3']:.3f}" for e in kept if e.kind == "sample")


def test_a_table_goes_into_a_file_and_into_a_server_all_or_nothing(place: str, tmp_path: Path) -> None:
    table, path = many(50).write(tmp_path)
    mapping = read_mapping(path)
    with open_book(place) as book:
        result = import_rows(book, table, mapping, entered_by="A", clock=lambda: NOW)
        assert (result.written, result.sequences) == (50, (1, 50))
        assert import_rows(book, table, mapping, entered_by="A", clock=lambda: NOW).written == 0
        table.write_bytes(cells(H="0,2").table_bytes())
        with pytest.raises(InputError, match="entered by"):
            import_rows(book, table, mapping, entered_by="", clock=lambda: NOW)
        assert book.head().rows == 50 and book.verify().ok


def test_a_proposed_mapping_names_columns_and_leaves_the_rest_to_be_filled_in(tmp_path: Path) -> None:
    table, _ = Plant().write(tmp_path)
    out = tmp_path / "start.toml"
    propose_mapping(table, out)
    text = out.read_text(encoding="utf-8")
    assert all(f'#   "{name}"' in text for name in ROW)
    assert not re.search(r'(?m)^[^#\n]*\b(decimal|encoding|zone|format|unit|column) = "[^"]', text)
    with pytest.raises(InputError, match=r"left empty: file.encoding, file.decimal, time.column.* and \d+ more"):
        read_mapping(out)
    for name, one in (Plant().file | Plant().time).items():
        text = re.sub(rf'(?m)^{name} = "[^"]*"', lambda _, n=name, o=one: f"{n} = {o}", text, count=1)
    head = text[: text.index("[kind]")]
    fields = "\n".join(f"{name} = {one}" for name, one in SAMPLE.items())
    out.write_text(f'{head}[kind]\nconstant = "sample"\n[sample]\n{fields}\n', encoding="utf-8")
    assert import_rows(None, table, read_mapping(out), entered_by="A", clock=lambda: NOW).held_back == 1


def test_a_separator_that_is_not_clear_is_asked_for(tmp_path: Path) -> None:
    table = tmp_path / "t.csv"
    table.write_text("a,b;c\n1;2\n", encoding="utf-8")
    with pytest.raises(InputError, match="holds ; and ,"):
        propose_mapping(table, tmp_path / "m.toml")
    propose_mapping(table, tmp_path / "m.toml", separator=";")
    assert 'separator = ";"' in (tmp_path / "m.toml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def comma_mapping(tmp_path_factory: pytest.TempPathFactory):
    return read_mapping(Plant().write(tmp_path_factory.mktemp("comma"))[1])


NUMBER = Field("number", {"x": Unit(1.0)}, is_number=True)
ONE = From("c", "", "x", {})


@settings(max_examples=300, deadline=None)
@given(whole=st.integers(-(10**9), 10**9), part=st.text("0123456789", min_size=0, max_size=9), space=st.booleans())
def test_a_number_with_a_comma_is_that_number(whole: int, part: str, space: bool, comma_mapping) -> None:
    text = f"{whole},{part}" if part else str(whole)
    (value,) = field_values(ONE, NUMBER, [f" {text} " if space else text], comma_mapping)
    assert value == float(f"{whole}.{part or 0}")


@settings(max_examples=300, deadline=None)
@given(text=st.text("0123456789.,' -+eE%xX\u2009\u066b\u0663_gnaif", min_size=1, max_size=12))
def test_a_text_is_a_number_in_one_reading_or_refused(text: str, comma_mapping) -> None:
    (value,) = field_values(ONE, NUMBER, [text], comma_mapping)
    bare = " ".join(text.split())
    if isinstance(value, Bad):
        assert value.reason and "\n" not in value.reason
    elif value is None:
        assert not bare
    else:
        assert set(bare) <= set("0123456789,+-eE") and value == float(bare.replace(",", "."))


def test_rows_of_the_reader_are_numbered_as_in_the_file(tmp_path: Path) -> None:
    bad = ";".join((ROW | {"H": "x"}).values())
    plant = Plant(raw=("# SYNTHETIC\n\n" + ";".join(ROW) + "\n\n" + bad + "\n").encode())
    assert [one.row for one in plant.imported(tmp_path).refused] == [5]
