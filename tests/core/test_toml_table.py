"""Strict TOML: typed access, collected faults, and no bytes that bring it down."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from castq.core.errors import Fault, InputError
from castq.core.toml_table import Table, parse_toml


def table(text: str) -> Table:
    return Table(parse_toml(text.encode(), "a.toml"), "a.toml", "", [])


def test_values_of_the_right_type_come_back_without_a_fault() -> None:
    read = table('t = "x"\nf = true\nn = 3\nq = "12 mm"\nl = [1, 2.5]\ns = ["a"]\n[sub]\nk = 1\n[[row]]\nk = 2\n')
    assert (read.text("t"), read.flag("f"), read.number("n", 0, 5)) == ("x", True, 3.0)
    assert (read.quantity("q", "length_um", 0, 1e5), read.numbers("l", 0, 3), read.texts("s")) == (
        12000.0,
        [1, 2.5],
        ["a"],
    )
    sub, (row,) = read.table("sub"), read.tables("row")
    assert sub is not None and (sub.number("k", 0, 9), sub.at("k")) == (1.0, "sub.k")
    assert (row.number("k", 0, 9), row.at("k")) == (2.0, "row[1].k")
    read.close()
    assert read.faults == []


def test_missing_keys_are_none_and_only_required_ones_are_faults() -> None:
    read = table("")
    assert read.text("t") is None and read.number("n", 0, 1) is None and read.tables("row") == []
    assert read.faults == []
    read.require(["t"])
    assert read.faults == [Fault("a.toml", "t", "is missing", "", "add t = ...")]


def test_sub_tables_share_one_list_of_faults() -> None:
    read = table("[a]\nn = true\n[b]\nx = 1\n")
    first, second = read.table("a"), read.table("b")
    assert first is not None and second is not None
    first.number("n", 0, 1)
    second.close()
    assert [fault.place for fault in read.faults] == ["a.n", "b.x"]


def test_a_key_that_is_taken_nowhere_is_a_fault_with_the_nearest_key() -> None:
    read = table("melt_tmp = 1\n")
    read.number("melt_temp", 0, 1)
    read.close()
    assert str(read.faults[0]) == "a.toml, melt_tmp: is not a key castq knows; did you mean melt_temp?"


@pytest.mark.parametrize(
    ("value", "mend"), [("35", "did you mean 0.35 wt%?"), ("-1", "check the value and its unit"), ("300", "check")]
)
def test_a_content_a_hundred_times_too_high_is_guessed_at(value: str, mend: str) -> None:
    read = table(f"n = {value}")
    assert read.number("n", 0.0, 1.0, "wt%") is None
    assert mend in str(read.faults[0])


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.one_of(st.binary(max_size=60), st.text("[]{}=\"'#\n.,a1 -+eE_\\", max_size=60).map(str.encode)))
def test_any_bytes_are_a_table_or_one_sentence(raw: bytes) -> None:
    try:
        assert isinstance(parse_toml(raw, "a.toml"), dict)
    except InputError as error:
        (fault,) = error.faults
        assert fault.mend and "\n" not in str(fault)
