"""Pictures of the melt desk: they are drawn, alike each time, and show signals by shape and words."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from castq.core.errors import InputError
from castq.melt.charting import chart_samples
from castq.melt.fit import Run, fit_kinetics
from castq.melt.repeat_study import study_repeats
from castq.report import chart_figures, melt_figures
from castq.report.colours import VERDICTS, rgb
from tests.melt.chart_frames import simulated
from tests.melt.test_repeat_study import pairs

MELT = (0.11, 0.095, 0.126)


def pixels(png: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(int)


def near(picture: np.ndarray, colour: str) -> int:
    """Return how many pixels have about this colour."""
    return int((np.abs(picture - np.array(rgb(colour))).max(axis=2) < 14).sum())


def charts(shift: float):
    frame = simulated(1, 60, 20, seed=4)
    frame.loc[60:, "density_index_pct"] += shift
    return chart_samples(frame, by="furnace").groups


def test_chart_marks_a_drift_and_only_a_drift() -> None:
    steady, drifted = (pixels(chart_figures.chart_png(charts(shift))) for shift in (0.0, 1.6))
    tint = VERDICTS["at risk"].tint
    # The tint lies half transparent over white; the key shows it full in both pictures.
    half = "#{:02x}{:02x}{:02x}".format(*(round(255 - 0.55 * (255 - c)) for c in rgb(tint)))
    assert near(drifted, half) > 20_000 > 500 > near(steady, half)


def test_words_of_the_chart_are_in_the_picture_title(monkeypatch) -> None:
    seen = []
    monkeypatch.setattr(chart_figures, "to_png", lambda figure: seen.extend(figure.axes) or b"")
    chart_figures.chart_png(charts(1.6))
    texts = [t.get_text() for axes in seen for t in axes.texts]
    assert seen[0].get_title(loc="left").startswith("density index [%]: has drifted up since Thursday 06:00")
    assert any(t == "drifted up from Thursday 06:00" for t in texts)
    assert any(t.startswith("upper limit\n") and t.endswith("%") for t in texts)


def test_same_chart_gives_the_same_bytes() -> None:
    assert chart_figures.chart_png(charts(0.0)) == chart_figures.chart_png(charts(0.0))


def test_chart_of_too_few_samples_is_drawn_without_limits() -> None:
    assert pixels(chart_figures.chart_png(chart_samples(simulated(1, 1, 2), by="furnace").groups)).shape[1] > 1000
    assert pixels(chart_figures.chart_png(chart_samples(simulated(1, 0, 1), by="furnace").groups)).shape[1] > 1000


def test_release_strip_answers_each_design_by_sign_word_and_colour(monkeypatch) -> None:
    rows = [
        melt_figures.StripRow("A", 0.16, 0.14, 0.18, *MELT),
        melt_figures.StripRow("B", 0.128, 0.112, 0.145, *MELT),
        melt_figures.StripRow("C", 0.09, 0.08, 0.10, *MELT),
        melt_figures.StripRow("D", np.nan, np.nan, np.nan, *MELT),
        melt_figures.StripRow("E", 0.16, 0.14, 0.18, *MELT, "pour with care"),
    ]
    assert near(pixels(melt_figures.release_png(rows)), VERDICTS["fails"].colour) > 100
    seen = []
    monkeypatch.setattr(melt_figures, "to_png", lambda figure: seen.extend(figure.axes[0].texts) or b"")
    melt_figures.release_png(rows)
    assert [t.get_text() for t in seen] == [
        "+ limit 0.16, melt below its limit", "! limit 0.13, ranges overlap", "x limit 0.090, melt above its limit",
        "? not decided", "! limit 0.16, pour with care",
    ]  # fmt: skip


def drawing(**changes):
    minutes = np.tile([0.0, 4.0, 8.0], 2)
    fitted = 0.06 + 0.22 * np.exp(-0.18 * minutes)
    measured = fitted + np.array([0.0, 0.01, -0.01, 0.0, 0.05, 0.0])
    values = {"name": "furnace 2", "words": "rate 0.18 per min", "treatment": np.repeat([0, 1], 3), "minutes": minutes,
              "measured": measured, "fitted": fitted, "one_sigma": np.full(6, 0.012)}  # fmt: skip
    return melt_figures.FitDrawing(**(values | changes))


def test_fit_of_the_desk_and_its_release_table_can_be_drawn() -> None:
    rng = np.random.default_rng(3)
    minutes = (0.0, 4.0, 8.0, 12.0)
    runs = [
        Run(f"run {i}", minutes, tuple(0.06 + 0.22 * np.exp(-0.18 * np.array(minutes)) + 0.008 * rng.normal(size=4)))
        for i in range(5)
    ]
    result = fit_kinetics(runs, name="furnace 2, rotor A")
    drawn = melt_figures.drawing_of(result)
    assert drawn.treatment.max() == 4 and len(drawn.measured) == 20
    np.testing.assert_allclose(drawn.measured[:4], runs[0].hydrogen_ml_100g)
    # The spread of a reading, 0.01 ml/100g and 7 % of it, comes back out of the standardised residuals.
    np.testing.assert_allclose(drawn.one_sigma, np.hypot(0.01, 0.07 * drawn.fitted), rtol=0.6)
    assert pixels(melt_figures.fit_png(drawn)).shape[1] > 1000


def test_fit_names_the_point_outside_the_band(monkeypatch) -> None:
    seen = []
    monkeypatch.setattr(melt_figures, "to_png", lambda figure: seen.append(figure) or b"")
    melt_figures.fit_png(drawing())
    left, right = seen[0].axes
    assert [t.get_text() for t in right.texts] == ["treatment 2"]
    assert (left.get_title(loc="left"), right.get_title(loc="left")) == (
        "hydrogen [ml/100g]",
        "measured less fit [standard deviations]",
    )


def test_repeats_picture_shows_the_parts_in_the_unit_of_the_test() -> None:
    by_furnace, by_operator = (
        melt_figures.repeats_png(study_repeats(pairs(0.3, 0.2), by=by)) for by in ("furnace", "operator")
    )
    assert pixels(by_operator).shape[0] > pixels(by_furnace).shape[0]


@pytest.mark.parametrize(
    "call",
    [
        lambda: chart_figures.chart_png([]),
        lambda: melt_figures.release_png([]),
        lambda: melt_figures.fit_png(drawing(minutes=np.zeros(2))),
    ],
)
def test_nothing_to_draw_is_refused(call) -> None:
    with pytest.raises(InputError):
        call()
