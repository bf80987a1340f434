"""Pictures: the same bytes each time, an honest colour map, and geometry that agrees with closed forms."""

from __future__ import annotations

import io
import struct
from dataclasses import replace

import numpy as np
import pytest
import report_sample as sample
from PIL import Image

from castq.report import figures, section, still
from castq.report.colours import SEQUENCE, VERDICTS, paint, ramp, rgb
from castq.report.fields import describe, nice_ticks, scale_of, shown_fields
from castq.report.payload import coarse_codes, coarse_values, fine_codes, viewer_payload
from castq.screening.columns import PREDICTED


@pytest.fixture(scope="module")
def fields():
    return sample.wheel_fields(5.0)


def lab(colour: str) -> np.ndarray:
    """CIELAB of an sRGB colour, from the definition."""
    c = np.array(rgb(colour)) / 255.0
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    matrix = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    t = matrix @ linear / np.array([0.95047, 1.0, 1.08883])
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def test_the_colour_map_falls_evenly_in_lightness_and_keeps_a_light_floor() -> None:
    colours = np.array([lab(c) for c in SEQUENCE])
    steps = np.linalg.norm(np.diff(colours, axis=0), axis=1)
    assert (np.diff(colours[:, 0]) < -2.0).all()
    assert colours[-1, 0] > 30.0
    assert steps.max() / steps.min() < 1.4


def test_the_ramp_ends_in_the_anchors_and_reverses() -> None:
    assert tuple(ramp(64)[0]) == rgb(SEQUENCE[0])
    assert tuple(ramp(64)[-1]) == rgb(SEQUENCE[-1])
    np.testing.assert_array_equal(ramp(64, reverse=True), ramp(64)[::-1])
    np.testing.assert_allclose(paint([0.0, 2.0])[1] * 255, rgb(SEQUENCE[-1]))


def test_verdicts_differ_in_word_sign_and_symbol_not_only_in_colour() -> None:
    looks = [VERDICTS[name] for name in ("pass", "at risk", "fails", "not decided", "no limit")]
    for part in ("word", "sign", "symbol", "marker"):
        assert len({getattr(look, part) for look in looks}) == len(looks)


@pytest.mark.parametrize("draw", [figures.limits_png, figures.freezing_png, figures.drivers_png])
def test_charts_of_a_screening_are_the_same_bytes_each_time(draw) -> None:
    first = draw(sample.screening())
    assert first == draw(sample.screening())
    assert first.startswith(b"\x89PNG")
    assert b"Software" not in first and b"Matplotlib" not in first


def test_other_pictures_are_the_same_bytes_each_time(fields) -> None:
    assert figures.differences_png(sample.comparison()) == figures.differences_png(sample.comparison())
    assert section.sections_png(fields, "sdas_um") == section.sections_png(fields, "sdas_um")
    assert still.still_png(fields, "sdas_um") == still.still_png(fields, "sdas_um")


def test_nothing_to_draw_gives_no_picture() -> None:
    base = sample.screening()
    assert figures.limits_png(replace(base, checks=())) is None
    assert figures.drivers_png(replace(base, drivers=())) is None
    assert figures.freezing_png(replace(base, zones=base.zones.assign(cutoff_time_s=np.nan))) is None
    assert figures.differences_png(replace(sample.comparison(), differences=())) is None


def test_the_section_of_a_wheel_agrees_with_its_drawing(fields) -> None:
    spoke, window = section.both_sections(fields)
    assert np.degrees(spoke.angle_rad) % 72 == pytest.approx(0.0, abs=3.0) or np.degrees(
        spoke.angle_rad
    ) % 72 == pytest.approx(72.0, abs=3.0)
    assert np.degrees(window.angle_rad) % 72 == pytest.approx(36.0, abs=18.0)
    rim = window.metal[window.r_mm > 190]
    area_mm2 = rim.sum() * section.PIXEL_MM**2
    outline = np.array([(235, -100), (239, -100), (239, -88), (226, -82), (224, -40), (205, -30), (203, 20), (217, 40),
                        (219, 80), (239, 88), (239, 100), (233, 100), (213, 90), (211, 45), (196, 25), (198, -35),
                        (217, -45), (219, -86)], dtype=float)  # fmt: skip
    x, y = outline.T
    shoelace = 0.5 * abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))
    assert area_mm2 == pytest.approx(shoelace, rel=0.02)
    assert spoke.metal.sum() > 1.2 * window.metal.sum()


def test_fill_counts_crossings() -> None:
    square = np.array([[[1, 1], [5, 1]], [[5, 1], [5, 4]], [[5, 4], [1, 4]], [[1, 4], [1, 1]]], dtype=float)
    filled = section.fill(square, np.arange(0.5, 7), np.arange(0.5, 6))
    assert filled.sum() == 12
    assert filled[1:4, 1:5].all()


def test_a_section_shows_the_values_of_the_voxels(fields) -> None:
    constant = replace(fields, fields={"sdas_um": np.where(fields.zone_codes > 0, np.float32(42.0), np.nan)})
    cut, _ = section.both_sections(fields)
    values = section.sample(constant, cut, "sdas_um")
    np.testing.assert_allclose(values[cut.metal], 42.0, rtol=1e-6)
    assert np.isnan(values[~cut.metal]).all()
    assert set(np.unique(section.sample_codes(fields, cut))) <= set(range(9))


def test_the_still_shows_the_worst_cut_metal_dark_and_the_background_white(fields) -> None:
    image = still.render(fields, scale_of("local_solidification_time_s", fields)).astype(int)
    assert (image[0, 0] == 255).all()
    metal = (image < 250).any(axis=2)
    assert 0.2 < metal.mean() < 0.8
    assert image[metal].sum(axis=1).min() < sum(rgb(SEQUENCE[-3])) + 40


def test_colour_scales_are_shared_and_dark_is_worse(fields) -> None:
    warm = sample.wheel_fields(6.0, 1.5)
    both = scale_of("local_solidification_time_s", fields, warm)
    assert both.low <= scale_of("local_solidification_time_s", fields).low
    assert both.high >= scale_of("local_solidification_time_s", fields).high
    assert scale_of("elongation_pct", fields).reverse
    assert not scale_of("porosity_pct", fields).reverse
    assert "risk" not in shown_fields(replace(fields, fields={**fields.fields, "risk": fields.fields["sdas_um"]}))
    assert all(describe(name)[0] for name in PREDICTED)


@pytest.mark.parametrize(
    ("low", "high", "first", "step"), [(0, 100, 0, 20), (17.3, 122, 25, 25), (0.11, 0.64, 0.2, 0.2)]
)
def test_ticks_are_round_and_inside(low: float, high: float, first: float, step: float) -> None:
    ticks = nice_ticks(low, high)
    assert ticks[0] == first
    assert ticks[1] - ticks[0] == pytest.approx(step)
    assert all(low <= t <= high for t in ticks)


def test_coarse_copy_keeps_means_and_commonest_zone() -> None:
    codes = np.zeros((4, 2, 2), dtype=np.int8)
    codes[:2] = 3
    codes[0, 0, 0] = 5
    values = np.arange(16, dtype=np.float32).reshape(4, 2, 2)
    assert coarse_codes(codes, 2).tolist() == [[[3]], [[0]]]
    assert fine_codes(codes, 3).shape == (6, 3, 3)
    assert fine_codes(codes, 3)[:2, :2, :2].tolist() == codes[:2].tolist()
    assert set(np.unique(fine_codes(codes, 1)[2:])) == {3}
    mean = coarse_values(values, codes > 0, 2)
    assert mean[0, 0, 0] == np.arange(8).mean()
    assert np.isnan(mean[1, 0, 0])


def test_viewer_payload_holds_what_it_says(fields) -> None:
    import base64
    import zlib

    book = viewer_payload({"x": (fields, sample.screening())})
    wheel = book["wheels"][0]
    raw = zlib.decompress(base64.b64decode(wheel["data"]))
    assert len(raw) == sum(length for _, length in wheel["blocks"])
    corner = np.array(struct.unpack_from("<3H", raw)) / 65535.0
    low, high = np.array(wheel["mesh"]["low"]), np.array(wheel["mesh"]["high"])
    np.testing.assert_allclose(low + corner * (high - low), fields.mesh.vertices[0], atol=0.005)
    zones = [zone["name"] for zone in wheel["zones"]]
    assert "spoke-rim junction" in zones
    assert wheel["zones"][zones.index("spoke-rim junction")]["values"]["sdas_um"].endswith("(39.2–48.0)")


def test_pictures_are_wide_enough_to_read() -> None:
    image = Image.open(io.BytesIO(figures.limits_png(sample.screening()) or b""))
    assert image.size[0] == 1536
