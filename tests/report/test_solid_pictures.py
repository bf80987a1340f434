"""Pictures of solid depth: states follow the times, outlines and ways lie where they belong, and nothing is blank."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
import solid_sample as solid
from PIL import Image

from castq.report import solid_pictures, solid_report, solid_states, solid_zoom
from castq.report.colours import rgb
from castq.report.fields import scale_of
from castq.report.payload import packed_faces, viewer_fields
from castq.report.section import both_sections, half_section
from castq.report.solid_places import drawn_way, grouped, last_place, metal_of
from castq.report.solid_states import CLOSED, ISLAND, LIQUID, MUSHY, SOLID, STATES
from castq.report.timelapse import FRAMES, front_of, time_lapse


@pytest.fixture(scope="module")
def shape():
    return solid.shape()


@pytest.fixture(scope="module")
def front(shape):
    return front_of(solid_report.joined(*shape), shape[1])


def image_of(png: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(int)


def test_states_follow_the_times_of_each_pixel(front) -> None:
    spoke = front.sections[0]
    metal = spoke.cut.metal
    assert (spoke.states(0.0)[metal] == LIQUID + 1).all()
    assert (spoke.states(front.end_s)[metal] == SOLID + 1).all()
    assert (spoke.states(50.0)[~metal] == 0).all()
    row, column = np.argwhere(metal)[metal.sum() // 2]
    coherent, closed, done = (a[row, column] for a in (spoke.coherency_s, spoke.cutoff_s, spoke.solid_s))
    seen = [spoke.states(t)[row, column] - 1 for t in (coherent + 0.01, closed + 0.01, done + 0.01)]
    assert seen == [MUSHY, CLOSED, SOLID]


def test_a_pool_shows_from_its_cut_off_until_it_closes_and_only_behind_the_choke(front, shape) -> None:
    spoke = front.sections[0]
    cut = shape[1].islands.each[0].cut_s
    assert not (spoke.states(cut - 2.0) == ISLAND + 1).any()
    assert not (spoke.states(solid.HOT_S + 1.0) == ISLAND + 1).any()
    rows, _ = np.nonzero(spoke.states(0.5 * (cut + solid.HOT_S)) == ISLAND + 1)
    radius = spoke.cut.r_mm[rows]
    assert rows.size > 200
    assert radius.min() > solid.CHOKE_MM and radius.max() < 225.0
    window = front.sections[1]
    assert not (window.states(0.5 * (cut + solid.HOT_S)) == ISLAND + 1).any()


def test_the_frames_run_from_pouring_to_solid_and_differ(front) -> None:
    lapse = time_lapse({"": front})
    assert len(lapse.frames) == len(lapse.times_s) == len(lapse.words) == FRAMES == 41
    assert lapse.times_s[0] == 0.0 and lapse.times_s[-1] == np.ceil(front.end_s)
    assert (np.diff(lapse.times_s) > 0.0).all()
    assert len({frame[0] for frame in lapse.frames}) > 30
    assert lapse.words[0] == "100 % of the metal still passes feed metal"
    assert "cm³ of that cut off from the feeder" in lapse.words[lapse.still]
    assert sum(len(png) for frame in lapse.frames for png in frame) < 500_000
    picture = image_of(lapse.frames[lapse.still][0])
    assert picture.shape[1::-1] == lapse.size
    found = {tuple(colour) for colour in np.unique(picture.reshape(-1, 3), axis=0).tolist()}
    assert rgb(STATES[ISLAND].colour) in found and rgb(STATES[ISLAND].line) in found
    last = image_of(lapse.frames[-1][0])
    assert (last == rgb(STATES[SOLID].colour)).all(axis=2).sum() > 0.9 * front.sections[0].cut.metal.sum()


def test_two_wheels_play_on_one_clock(front) -> None:
    lapse = time_lapse({"Design A": front, "Design B": front}, 5)
    assert lapse.names == ("Design A", "Design B")
    assert all(len(frame) == 2 for frame in lapse.frames)
    assert lapse.words[0].startswith("Design A: 100 %") and "; Design B: 100 %" in lapse.words[0]


def test_a_small_png_holds_the_places_it_was_given() -> None:
    places = np.arange(21, dtype=np.uint8).reshape(3, 7) % 12
    picture = Image.open(io.BytesIO(solid_states.indexed_png(places)))
    assert picture.mode == "P"
    np.testing.assert_array_equal(np.asarray(picture)[::-1], places)
    np.testing.assert_array_equal(np.asarray(picture.convert("RGB"))[::-1], solid_states.colours_of(places))


def test_states_differ_in_words_and_in_pattern_or_lightness() -> None:
    assert len({words for words, _ in solid_states.legend()}) == 5
    swatches = [image_of(png) for _, png in solid_states.legend()]
    patterned = [len(np.unique(swatch.reshape(-1, 3), axis=0)) for swatch in swatches]
    assert [patterned[state] for state in (LIQUID, MUSHY, CLOSED, SOLID, ISLAND)] == [1, 2, 2, 1, 2]
    grey = [swatch.mean() for swatch in swatches]
    assert (np.diff([grey[state] for state in (LIQUID, MUSHY, CLOSED, SOLID)]) < -20.0).all()


def test_the_metal_of_a_row_is_the_region_it_was_made_from(shape) -> None:
    wheel, depth = shape
    whole = solid_report.joined(wheel, depth)
    rows = depth.summary.regions
    assert len(rows) == 5
    masks = [metal_of(whole, row) for row in rows]
    for row, mask in zip(rows, masks, strict=True):
        assert 1e-3 * wheel.grid.fraction[mask].sum() * solid.SPACING_MM**3 == pytest.approx(row.volume_cm3, rel=1e-5)
        x, y = (np.average(np.nonzero(mask)[i], weights=wheel.grid.fraction[mask]) for i in range(2))
        assert np.hypot(x - (wheel.zone_codes.shape[0] - 1) / 2, y - (wheel.zone_codes.shape[1] - 1) / 2) * 6.0 == (
            pytest.approx(row.radius_mm, abs=3.0)
        )
    assert not (masks[0] & masks[1]).any()
    assert not metal_of(whole, replace(rows[0], limit=0.0)).any()


def test_the_way_runs_from_behind_the_choke_through_it_to_the_hub(shape) -> None:
    wheel, depth = shape
    whole = solid_report.joined(wheel, depth)
    row = depth.summary.regions[0]
    way = drawn_way(whole, depth, last_place(whole, metal_of(whole, row)), np.radians(row.angle_deg))
    radius = way.line_mm[:, 1]
    assert radius[0] == pytest.approx(solid.HOT_MM, abs=8.0)
    assert way.choke_mm[1] == pytest.approx(solid.CHOKE_MM, abs=8.0)
    assert radius[-1] < 80.0
    assert way.choke_s == pytest.approx(solid.CHOKE_S, abs=2.0) and way.last_s == pytest.approx(solid.HOT_S, abs=3.0)


def test_copies_around_the_wheel_are_counted_once(shape) -> None:
    groups = grouped(shape[1].summary.regions, 6.0)
    assert len(groups) == 1
    np.testing.assert_allclose(np.diff(np.sort(groups[0].angles_deg)), 72.0, atol=4.0)
    far = replace(shape[1].summary.regions[0], centre_mm=(100.0, 0.0, 0.0))
    assert len(grouped((*shape[1].summary.regions, far), 6.0)) == 2


def test_the_picture_of_a_zone_of_risk_outlines_it_where_it_lies(shape) -> None:
    wheel, depth = shape
    whole = solid_report.joined(wheel, depth)
    pictures = solid_zoom.region_pictures(whole, depth, depth.summary, 3)
    assert list(pictures) == ["risk_1"]
    picture = image_of(pictures["risk_1"])
    red = (np.abs(picture - np.array(rgb(solid_zoom.OUTLINE))).sum(axis=2) < 30)[120:]
    left = red[:, : picture.shape[1] // 2]
    rows, _ = np.nonzero(left)
    assert rows.size > 150
    # The place lies at the rim end of the spoke: in the upper half of the half section, and nowhere at the hub.
    assert rows.max() < 0.6 * left.shape[0]


@pytest.mark.parametrize("name", ["solid_risk_1", "solid_sequence", "solid_niyama", "solid_die_face"])
def test_every_picture_is_wide_and_not_blank(shape, name: str) -> None:
    pictures = solid_report.solid_pictures(solid.screening(), shape)
    picture = image_of(pictures[name])
    assert picture.shape[1] == 1536
    assert len(np.unique(picture.reshape(-1, 3), axis=0)) > 60
    assert 0.04 < (picture.sum(axis=2) < 740).mean() < 0.6


def test_nothing_is_drawn_without_a_solved_shape(shape) -> None:
    wheel, depth = shape
    assert solid_report.solid_pictures(solid.screening(), (wheel, None)) == {}
    assert solid_report.solid_pictures(solid.screening(), (None, depth)) == {}
    assert solid_report.solid_pictures(replace(solid.screening(), solid=None), shape) == {}
    assert solid_report.player({"": (wheel, None)}) is None


def test_pictures_of_two_designs_share_their_scales_and_name_the_design(shape) -> None:
    pair = (solid.screening(), solid.screening())
    drawn = solid_report.solid_pictures_beside(pair, (shape, shape))
    assert {name.rpartition("_")[0] for name in drawn if name.endswith("_a")} == {
        name.rpartition("_")[0] for name in drawn if name.endswith("_b")
    }
    titles = [title for risks in (True, False) for title, _ in solid_report.titled(drawn, risks)]
    assert titles[:2] == ["Design A: Zone of risk 1", "Design B: Zone of risk 1"]
    assert solid_report.solid_pictures_beside(pair, (shape, (shape[0], None))) == {}


def test_the_niyama_value_is_not_filled_in_where_there_is_none(shape) -> None:
    whole = solid_report.joined(*shape)
    spoke, _ = both_sections(whole)
    values = solid_pictures.sample_known(whole, spoke, "niyama")
    behind = (spoke.r_mm > 190.0) & (spoke.r_mm < 205.0)
    near = (spoke.r_mm > 100.0) & (spoke.r_mm < 130.0)
    assert np.isnan(values[behind][spoke.metal[behind]]).mean() > 0.8
    assert np.isfinite(values[near][spoke.metal[near]]).mean() > 0.95
    assert scale_of("niyama", whole).high <= 1.2


def test_the_outline_is_cut_in_short_pieces_of_the_same_length(shape) -> None:
    cut = half_section(shape[0], 0.3, "")
    pieces = solid_pictures.short_pieces(cut.segments_mm)
    length = np.linalg.norm(pieces[:, 1] - pieces[:, 0], axis=1)
    assert length.max() <= solid_pictures.PIECE_MM + 1e-9
    assert length.sum() == pytest.approx(np.linalg.norm(cut.segments_mm[:, 1] - cut.segments_mm[:, 0], axis=1).sum())


def test_the_die_face_takes_the_temperature_of_the_nearest_cell(shape) -> None:
    whole = solid_report.joined(*shape)
    z = whole.grid.origin_mm[2] + 6.0 * (np.arange(whole.zone_codes.shape[2]) + 0.5)
    field = np.where(whole.zone_codes > 0, z, np.nan).astype(np.float32)
    along = replace(whole, fields={**whole.fields, "die_peak_c": field})
    spoke, _ = both_sections(along)
    points = spoke.segments_mm.mean(axis=1)
    temps = solid_pictures.face_temps(along, spoke, points)
    known = np.isfinite(temps)
    assert known.mean() > 0.98
    assert np.abs(temps[known] - points[known, 0]).max() < 12.0
    assert np.isnan(solid_pictures.face_temps(along, spoke, np.array([[0.0, 1000.0]]))).all()


def test_packed_triangles_are_the_same_triangles() -> None:
    faces = np.array([[5, 2, 9], [0, 1, 2], [70_000, 3, 4], [2, 1, 0]])
    planes = np.frombuffer(packed_faces(faces), dtype=np.uint8).reshape(4, -1).astype(np.int64)
    folded = planes[0] | planes[1] << 8 | planes[2] << 16 | planes[3] << 24
    steps = ((folded >> 1) ^ -(folded & 1)).reshape(3, -1)
    first = np.cumsum(steps[0])
    found = np.column_stack([first, first + steps[1], first + steps[2]]).tolist()
    turned = [min(face[i:] + face[:i] for i in range(3)) for face in faces.tolist()]
    assert sorted(found) == sorted(turned)


def test_the_viewer_offers_the_solved_fields_and_two_wheels_only_the_telling_ones(shape) -> None:
    whole = solid_report.joined(*shape)
    assert {"feeding_margin", "niyama", "die_peak_c", "coherency_time_s"} <= set(viewer_fields(whole))
    both = viewer_fields(whole, whole)
    assert {"feeding_margin", "niyama", "die_peak_c"} <= set(both) and "coherency_time_s" not in both
