"""Faults read as one clear line, whatever the input holds."""

from __future__ import annotations

from castq.core.errors import EXIT_BAD_INPUT, Fault, InputError, input_error, nearest, plain


def test_a_fault_is_one_line_with_place_and_mend() -> None:
    error = input_error("wheel.stl", "facet 12", "a corner is not finite", "finite numbers", "export the shape again")
    assert str(error) == "wheel.stl, facet 12: a corner is not finite; expected finite numbers; export the shape again"
    assert error.exit_code == EXIT_BAD_INPUT


def test_all_faults_are_kept() -> None:
    error = InputError([Fault("a", "1", "x", "", ""), Fault("a", "2", "y", "", "")])
    assert str(error).splitlines() == ["a, 1: x", "a, 2: y"]
    assert error.faults[1].to_dict()["place"] == "2"


def test_control_characters_and_length_are_tamed() -> None:
    assert plain("a\x1b[31m\nb\x00") == "a [31m b"
    assert len(plain("x" * 1000)) == 200


def test_nearest_words() -> None:
    assert nearest("melt_tmp", ["melt_temp", "die_temp"]).startswith("did you mean melt_temp")
    assert nearest("qqq", ["a", "b"]) == "use one of: a, b"
