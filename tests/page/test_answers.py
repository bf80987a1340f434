"""What the page shows: the answer with its figures and cautions, the chart of the day, the wheels."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path

import pytest

from castq.core.cautions import BY_COMMAND
from castq.files.melt_book import enter
from castq.melt.chart_types import QUANTITIES
from castq.melt.types import Air, HydrogenReading, Interval, Kinetics, MeltTarget, Sample, Treatment
from castq.page import desk, views
from castq.page.day_chart import day_chart
from tests.page.ground import START, Found, Ground, Visitor

INDEX, HYDROGEN = QUANTITIES
NO_PAIRS = {"method": "none"} | {f"in_{where}_g_cm3_{row}": "" for where in ("air", "vacuum") for row in (1, 2)}


def answer(visitor: Visitor, **changes: str) -> Found:
    assert visitor.enter(**changes)[0] == 303
    status, text = visitor.ask("GET", visitor.headers["location"])
    assert status == 200
    return Found(text)


@pytest.mark.parametrize(
    ("reading", "heading", "sign", "look"),
    [("0,06", "Cast", "#sign-cast", "good"), ("0.25", "Degas", "#sign-degas", "act"),
     ("0.1", "Hold and resample", "#sign-hold", "open")],
)  # fmt: skip
def test_each_answer_has_a_word_a_sign_and_a_colour(
    visitor: Visitor, reading: str, heading: str, sign: str, look: str
) -> None:
    found = answer(visitor, hydrogen_ml_100g=reading, **NO_PAIRS)
    assert f" {heading} " in found.text
    signs = [values["href"] for tag, values in found.elements if tag == "use"]
    assert signs[0] == sign
    assert any(values.get("class") == f"answer {look}" for _, values in found.elements)
    for caution in BY_COMMAND["melt"]:
        assert caution in found.words


def test_a_target_that_cannot_be_reached_says_why(tmp_path: Path) -> None:
    ground = Ground(tmp_path, target=MeltTarget(0.06))
    try:
        enter(ground.book, [Air(34.0, 90.0)], "Kim", clock=ground.clock)
        found = answer(Visitor(ground), hydrogen_ml_100g="0.25", melt_temp_c="760", **NO_PAIRS)
        assert "Cannot reach the target" in found.words
        assert "What would help" in found.words and "K cooler" in found.words
    finally:
        ground.close()


def test_minutes_stand_in_the_tiles_as_judged(ground: Ground, visitor: Visitor) -> None:
    found = answer(visitor, hydrogen_ml_100g="0.25", **NO_PAIRS)
    judged = desk.answered(ground.settings, ground.book.entry(1)).judgement
    assert judged is not None and 0.0 < judged.minutes_median < judged.minutes_sure < 60.0
    figures = re.findall(r"(\d+)\s+min more", found.words)
    assert figures == [f"{-int(-judged.minutes_sure // 1)}", f"{-int(-judged.minutes_median // 1)}"]


def test_an_equivalent_is_no_measurement(visitor: Visitor) -> None:
    assert "It is not a measurement of hydrogen" in answer(visitor).words
    assert "It is not a measurement" not in answer(visitor, hydrogen_ml_100g="0.1", **NO_PAIRS).words


def test_a_later_row_is_told_and_an_old_sample_is_stale(ground: Ground, visitor: Visitor) -> None:
    visitor.enter()
    ground.clock.at += timedelta(minutes=30)
    enter(ground.book, [Treatment("2", ground.clock.at, 8.0)], "Kim", clock=ground.clock)
    words = Found(visitor.ask("GET", "/samples/1")[1]).words
    assert "Treated at 14:40, after the last sample (14:10): take a new one." in words
    ground.clock.at += timedelta(hours=5)
    assert "more than 4 hours ago" in Found(visitor.ask("GET", "/samples/1")[1]).words
    visitor.enter(note="next")
    assert "a later sample is in the book" in Found(visitor.ask("GET", "/samples/1")[1]).words


def test_samples_at_mixed_pressures_are_not_answered(tmp_path: Path) -> None:
    ground = Ground(tmp_path, target=MeltTarget())
    try:
        visitor = Visitor(ground)
        answer(visitor)
        found = answer(visitor, test_pressure_mbar="30", note="other gauge")
        assert "No answer" in found.words and "30 and 80 mbar are mixed" in found.words
    finally:
        ground.close()


def test_the_wheels_are_those_of_the_library(busy: Ground) -> None:
    visitor = Visitor(busy)
    found = answer(visitor, hydrogen_ml_100g="0.1", **NO_PAIRS)
    answered = desk.answered(busy.settings, busy.book.entry(busy.rows()))
    assert answered.wheels is not None
    assert [row.design for row in answered.wheels.rows] == ["Wheel 17, five spokes", "Wheel 19, ten spokes"]
    for row in answered.wheels.rows:
        assert row.design in found.words and views.told(row.words) in found.words
    assert "The release rules of your plant decide" in found.words


def test_without_a_library_the_page_says_so(ground: Ground, visitor: Visitor) -> None:
    assert "started without a folder of screened designs" in answer(visitor).words


def test_the_drift_is_told_beside_the_chart(busy: Ground) -> None:
    visitor = Visitor(busy)
    status, text = visitor.ask("GET", "/day")
    found = Found(text)
    assert status == 200
    assert "density index has drifted up since" in found.words
    labels = [v["aria-label"] for tag, v in found.elements if tag == "svg" and v.get("role") == "img"]
    assert any("has drifted up since" in label for label in labels)


def taken_of(ground: Ground, *readings: tuple[float, float, str]) -> list[desk.Taken]:
    back = ground.clock.at
    for hours, value, after in readings:
        ground.clock.at = START - timedelta(hours=hours)
        sample = Sample(ground.clock.at, "7", "AlSi11", 700.0, (), (HydrogenReading(value),), "Kim", after)
        enter(ground.book, [sample], "Kim", clock=ground.clock)
    ground.clock.at = back
    return desk.last_day(ground.settings, "7")


def test_the_drawing_keeps_to_its_scale(ground: Ground) -> None:
    samples = taken_of(
        ground, (18.0, 0.24, "before treatment"), (12.0, 0.12, "after treatment"), (6.0, 0.06, "holding")
    )
    assert [one.hydrogen_ml_100g for one in samples] == [0.06, 0.12, 0.24]
    assert day_chart(samples, INDEX, START) is None
    drawn = day_chart(samples, HYDROGEN, START, limit=0.12, shown=2)
    assert drawn is not None
    marks = sorted(drawn.marks, key=lambda mark: mark.x)
    assert [mark.shape for mark in marks] == ["triangle", "circle", "square"]
    assert [mark.this for mark in marks] == [False, True, False]
    # Six hours apart: the same distance across; half the value: half the height above nought.
    assert marks[1].x - marks[0].x == pytest.approx(marks[2].x - marks[1].x)
    nought = drawn.values[0][0]
    assert drawn.values[0][1].strip("0.") == ""
    heights = [nought - mark.y for mark in marks]
    assert heights[0] == pytest.approx(2.0 * heights[1]) == pytest.approx(4.0 * heights[2])
    assert drawn.lines[0].y == pytest.approx(marks[1].y)
    assert drawn.marks[-1].this, "the one that is shown lies on top"
    assert [words for _, words in drawn.hours] == ["18:00", "00:00", "06:00", "12:00"]
    assert drawn.words == "3 samples in 24 hours, the last at 08:10 with 0.060 ml/100g."


def test_yesterday_is_not_drawn(ground: Ground) -> None:
    samples = taken_of(ground, (30.0, 0.24, "holding"), (1.0, 0.12, "holding"))
    assert [one.entry.sequence for one in samples] == [2]


def test_the_band_lies_where_its_values_are() -> None:
    drawn = views.gauge(Interval(0.10, 0.08, 0.16), MeltTarget(0.12))
    assert (drawn.low, drawn.middle, drawn.high, drawn.limit) == pytest.approx((40.0, 50.0, 80.0, 60.0))
    assert "between 0.080 and 0.160 with 80 % probability; target 0.12" in drawn.words


def test_probabilities_never_round_to_certainty() -> None:
    shown = [views.percent(p) for p in (0.0, 0.004, 0.4999, 0.9, 0.9999, 1.0)]
    assert shown == ["under 1 %", "under 1 %", "49 %", "90 %", "over 99 %", "over 99 %"]


def test_the_calibration_of_the_furnace_is_used(tmp_path: Path) -> None:
    slow = Kinetics(0.05, 0.1, 0.06, 0.005, 0.005, name="slow", points=30, furnace="2")
    ground = Ground(tmp_path, kinetics=(slow,))
    try:
        visitor, minutes = Visitor(ground), {}
        for furnace in ("1", "2"):
            answer(visitor, furnace=furnace, hydrogen_ml_100g="0.25", **NO_PAIRS)
            judged = desk.answered(ground.settings, ground.book.entries("sample", furnace)[0]).judgement
            assert judged is not None
            minutes[furnace] = judged.minutes_median
        # (0.25 - 0.06) to (0.12 - 0.06) at 0.05 per minute: 20 to 30 minutes once the scatter is in.
        assert 18.0 < minutes["2"] < 32.0 and minutes["1"] < 15.0
    finally:
        ground.close()
