"""The register: entries, range states, and traces that name every use outside a range."""

from __future__ import annotations

import numpy as np
import pytest

from castq.core.relation import EXACT, REGISTRY, STATES, Band, relation, row_states, trace


@pytest.fixture
def doubled():
    @relation(
        id="test-doubling", title="Doubling", source="arithmetic, no source", provenance="practice",
        band=EXACT, valid={"length_mm": (10.0, 20.0)},
    )  # fmt: skip
    def double(length_mm):
        return 2.0 * np.asarray(length_mm)

    yield double
    del REGISTRY["test-doubling"]


@pytest.mark.parametrize(
    ("value", "state"),
    [
        (10.0, "inside"),
        (20.0, "inside"),
        (9.5, "edge"),
        (20.9, "edge"),
        (21.5, "outside"),
        (8.0, "outside"),
        (26.0, "far"),
    ],
)
def test_states_follow_the_share_of_the_range(value: float, state: str) -> None:
    assert STATES[row_states([value], (10.0, 20.0))[0]] == state


def test_rows_are_judged_by_their_median_draw() -> None:
    draws = np.array([[12.0, 13.0, 90.0], [30.0, 31.0, 12.0]])
    assert row_states(draws, (10.0, 20.0)).tolist() == [0, 3]


def test_a_trace_notes_use_and_excursion(doubled) -> None:
    assert doubled(4.0) == 8.0
    with trace() as seen:
        doubled(np.array([12.0, 21.5]))
        doubled(length_mm=15.0)
    assert seen.used == {"test-doubling": 2}
    assert seen.excursions["test-doubling", "length_mm"].tolist() == [0, 2]
    with trace() as empty:
        pass
    assert empty.used == {}


@pytest.mark.parametrize("fault", [{"id": "test-doubling"}, {"source": " "}, {"valid": {"nothing_mm": (0.0, 1.0)}}])
def test_a_faulty_entry_is_refused(doubled, fault) -> None:
    card = {"id": "test-other", "title": "T", "source": "some source", "provenance": "memory", "band": EXACT, **fault}
    with pytest.raises(ValueError):
        relation(**card)(lambda length_mm: length_mm)
    assert "test-other" not in REGISTRY


def test_bands_read_as_words() -> None:
    assert str(Band("relative", 0.15, note="spread")) == "±15 % (spread)"
    assert str(Band("absolute", 12.0, "MPa")) == "±12 MPa"
    assert str(Band("factor", 1.6)) == "×/÷ 1.6"


def test_below_half_of_the_lower_end_of_a_wide_range_is_outside():
    assert row_states(np.array([0.5, 1.4, 1.6, 2.8, 120.0]), (3.0, 100.0)).tolist() == [2, 2, 1, 1, 2]
