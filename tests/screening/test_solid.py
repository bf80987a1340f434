"""Solid depth on the demo wheels (SYNTHETIC): pools, anchors of the zones, bands, comparison, grid study."""

from __future__ import annotations

from dataclasses import asdict, replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from types import SimpleNamespace

import numpy as np
import pytest

from castq.core.errors import InputError
from castq.files.demo import write_demo
from castq.files.intake import Design, read_design
from castq.geometry.roles import CODE
from castq.screening.chain import run_chain, settings_of
from castq.screening.compare import compare
from castq.screening.fields import SOLID_SHOWN, wheel_fields
from castq.screening.screen import screen, zones_of
from castq.screening.solid import SolidDepth, solve_solid
from castq.screening.solid_feed import feed, feeder_cells, least_shares
from castq.screening.solid_solve import cycle_row
from castq.screening.solid_zones import NODES, quantile
from castq.screening.types import Screening
from castq.screening.uncertain import draw_all
from castq.thermal.tool import Cycle, FeederHead, Gate, ToolParts

# The demo's thinnest wall of 6.9 mm holds two cells of this size.
VOXEL = "3.4 mm"
JUNCTION = "spoke-rim junction"


@cache
def designs() -> tuple[Design, Design]:
    with TemporaryDirectory() as folder:
        a, b = (read_design(path, voxel=VOXEL) for path in write_demo(Path(folder)))
    return a, b


@cache
def solved(which: int) -> SolidDepth:
    design = designs()[which]
    return solve_solid(design.case, design.shape, study=which == 0)


@cache
def screened(which: int) -> Screening:
    return screen(designs()[which].case, draws=128, solid=solved(which))


def row(screening: Screening, role: str) -> dict:
    return screening.zones[screening.zones["role"] == role].to_dict("records")[0]


def test_each_spoke_of_a_cuts_off_one_pool_at_its_rim_end_and_b_none_that_large() -> None:
    large = [island for island in solved(0).summary.islands if island.volume_cm3 > 10.0]
    assert len(large) == 5
    assert {island.choked_by for island in large} == {"spoke"}
    assert {island.zone for island in large} == {JUNCTION}
    np.testing.assert_allclose(np.diff(sorted(island.angle_deg for island in large)), 72.0, atol=2.0)
    for island in large:
        assert 180.0 < island.radius_mm < 225.0 and island.cut_s < 0.8 * island.last_s
        assert "by the spoke" in island.words and "cm3" in island.words
    assert max((island.volume_cm3 for island in solved(1).summary.islands), default=0.0) < 0.1 * large[0].volume_cm3


def test_zones_of_risk_of_a_are_its_five_pools_with_their_cause() -> None:
    regions = [region for region in solved(0).summary.regions if region.volume_cm3 > 10.0]
    assert len(regions) == 5
    for region in regions:
        assert region.quantity == "porosity_pct" and region.worst > region.limit
        assert region.cause.startswith("island cut off at") and region.cause.endswith("by the spoke")
        assert region.elongation_lost_pct > 1.0
    assert sum(region.volume_cm3 for region in solved(1).summary.regions) < 0.2 * sum(r.volume_cm3 for r in regions)


def test_section_and_solid_depth_agree_on_the_even_wall_of_the_rim() -> None:
    for which in (0, 1):
        section = row(screen(designs()[which].case, draws=128), "rim well")
        solid = row(screened(which), "rim well")
        for name, limit in (("local_solidification_time_s", 0.10), ("solid_time_s", 0.10), ("sdas_um", 0.04)):
            assert abs(solid[name] / section[name] - 1.0) < limit, name


def test_anchors_are_what_nine_tenths_of_the_metal_keep_counted_the_long_way() -> None:
    design, depth = designs()[0], solved(0)
    number = [section.role for section in design.case.sections].index(JUNCTION)
    here = design.shape.zones.codes == CODE[JUNCTION]
    weight = design.shape.grid.fraction[here].astype(float)
    times = depth.fields["local_solidification_time_s"][here]
    anchor = depth.zones.local_solidification_time_s[number]
    assert np.average(times <= anchor, weights=weight) == pytest.approx(0.9, abs=0.002)
    at_one = int(np.argmin(np.abs(NODES - 1.0)))
    pooled = np.average(depth.islands.label[here] >= 0, weights=weight)
    assert NODES[at_one] == pytest.approx(1.0)
    assert 0.3 < pooled < 0.7
    assert depth.zones.cut_share[number, at_one] == pytest.approx(pooled, abs=1e-9)
    open_share = np.average(np.minimum(np.where(depth.islands.label >= 0, _margins(depth), 1.0)[here], 1.0),
                            weights=weight)  # fmt: skip
    assert depth.zones.reach[number, at_one] == pytest.approx(open_share, abs=0.01)


def _margins(depth: SolidDepth) -> np.ndarray:
    return depth.paths.flood.on_grid(depth.paths.margin)


def test_a_weighted_quantile_is_the_value_that_holds_the_share() -> None:
    values, weights = np.array([4.0, 1.0, np.nan, 3.0, 2.0]), np.array([1.0, 1.0, 9.0, 7.0, 1.0])
    assert [quantile(values, weights, share) for share in (0.05, 0.15, 0.5, 0.95)] == [1.0, 2.0, 3.0, 4.0]
    assert np.isnan(quantile(np.array([np.nan]), np.ones(1), 0.5))


def test_the_table_rests_on_the_field_and_its_bands_hold_the_anchors() -> None:
    for which in (0, 1):
        result, zones = screened(which), solved(which).zones
        assert result.depth == "solid" and result.solid is solved(which).summary
        for name in ("local_solidification_time_s", "solid_time_s", "cutoff_time_s"):
            anchor = getattr(zones, name)
            assert (result.zones[f"{name}_p10"] < anchor).all() and (anchor < result.zones[f"{name}_p90"]).all()
            np.testing.assert_allclose(result.zones[name], anchor, rtol=0.06)


def test_the_junction_of_a_is_worse_than_that_of_b() -> None:
    a, b = (row(screened(which), JUNCTION) for which in (0, 1))
    assert a["feeding_margin"] < 0.9 < 1.0 < b["feeding_margin"]
    assert a["shrinkage_porosity_pct"] > 2.0 * b["shrinkage_porosity_pct"]
    assert a["elongation_pct"] < 0.75 * b["elongation_pct"]
    assert a["risk"] == "fails" and b["risk"] != "fails"


def test_comparison_is_antisymmetric_and_a_design_equals_itself() -> None:
    there, back = compare(screened(0), screened(1)), compare(screened(1), screened(0))
    assert there.verdict == "B better" and back.verdict == "A better"
    for one, other in zip(there.differences, back.differences, strict=True):
        assert (one.role, one.quantity) == (other.role, other.quantity)
        assert one.difference == -other.difference and one.p10 == -other.p90
        assert one.probability_b_better == pytest.approx(1.0 - other.probability_b_better, abs=1e-12)
    same = compare(screened(0), screened(0))
    assert same.verdict == "no difference" and all(d.probability_b_better == 0.5 for d in same.differences)


def test_depths_do_not_mix() -> None:
    section = screen(designs()[1].case, draws=128)
    with pytest.raises(InputError, match="the same depth"):
        compare(screened(0), section)


def test_a_field_that_says_what_the_walls_say_changes_no_time_and_no_band() -> None:
    case = designs()[1].case
    zones, settings, drawn = zones_of(case.sections), settings_of(case), draw_all(64, 3)
    walls = run_chain(zones, settings, drawn)
    middle = {name: values[:, 0] for name, values in run_chain(zones, settings, draw_all(1, 0)).samples.items()}
    names = ("local_solidification_time_s", "solid_time_s", "cutoff_time_s", "feeding_margin")
    anchors = replace(solved(1).zones, **{name: middle[name] for name in names})
    field = run_chain(zones, settings, drawn, anchors)
    for name in (*names, "cooling_rate_k_per_s", "sdas_um", "ys_mpa"):
        # The quadratic of the draws meets the walls' middle to a few thousandths only.
        tolerance = 0.1 if name == "ys_mpa" else 0.01
        np.testing.assert_allclose(field.samples[name], walls.samples[name], rtol=tolerance, err_msg=name)


def test_a_draw_that_closes_the_choke_sooner_cuts_off_more_metal() -> None:
    case = designs()[0].case
    zones, settings = zones_of(case.sections), settings_of(case)
    calm = {name: np.zeros(3) for name in draw_all(1, 0)}
    sooner = calm | {"local cooling, spoke": np.array([-2.0, 0.0, 2.0])}
    result = run_chain(zones, settings, sooner, solved(0).zones).samples
    junction = zones.roles.index(JUNCTION)
    assert np.all(np.diff(result["feeding_margin"][junction]) > 0.0)
    assert np.all(np.diff(result["shrinkage_porosity_pct"][junction]) < 0.0)
    assert np.all(np.diff(result["path_margin"][junction]) > 0.0) and result["path_margin"][junction].max() <= 1.0


def test_the_grid_study_says_how_far_the_grid_may_be_off() -> None:
    study = solved(0).summary.grid_study
    assert study is not None and solved(1).summary.grid_study is None
    assert (study.fine_mm, study.coarse_mm, study.order, study.safety) == (3.4, pytest.approx(5.1), 1.0, 3.0)
    assert 0.001 < study.mean_difference < study.p95_difference < 0.2
    assert abs(study.bias) <= study.mean_difference
    for zone in study.zones:
        change = abs(zone.coarse_s - zone.fine_s) / zone.fine_s
        assert zone.index == pytest.approx(6.0 * change, rel=1e-6)
    assert "not of the model" in study.words
    assert {"grid-convergence-index", "niyama-from-times"} <= set(screened(0).relations)
    assert "grid-convergence-index" not in screened(1).relations


def test_the_summary_can_be_printed() -> None:
    summary = solved(0).summary
    assert summary.sector == "one tenth, between two mirror planes" and summary.voxel_mm == 3.4
    assert summary.cells["casting"] > 1000 and summary.cells["die"] > summary.cells["casting"]
    assert abs(summary.heat_residual) < 1e-5 and summary.volume_share > 0.98 and summary.surface_share > 0.95
    assert summary.feeder.startswith("the hub")
    assert asdict(summary)["islands"][0]["zone"] == JUNCTION


def test_fields_for_pictures_rest_on_the_field() -> None:
    design = designs()[0]
    wheel = wheel_fields(design.case, design.shape, screened(0), solved(0))
    metal = wheel.zone_codes > 0
    assert set(wheel.fields) == {*SOLID_SHOWN, "wall_mm", "risk"}
    for name in ("local_solidification_time_s", "sdas_um", "porosity_pct", "elongation_pct", "uts_mpa"):
        assert np.isfinite(wheel.fields[name][metal]).all() and np.isnan(wheel.fields[name][~metal]).all(), name
    pools = solved(0).islands.label >= 0
    porous, fed = (wheel.fields["porosity_pct"][where].mean() for where in (pools, metal & ~pools))
    assert porous > 1.5 and fed < 0.5
    gas_and_shrinkage = wheel.fields["gas_porosity_pct"] + wheel.fields["shrinkage_porosity_pct"]
    np.testing.assert_allclose(gas_and_shrinkage[metal], wheel.fields["porosity_pct"][metal], rtol=1e-4)


def test_pressure_ends_with_the_hold() -> None:
    design, depth = designs()[0], solved(0)
    short = replace(design.case, parts=ToolParts(cycle=Cycle(5.0, 20.0, 200.0, 30.0, 10.0, 20.0)))
    feeding, whole = (feed(case, design.shape, depth.times) for case in (short, design.case))
    assert (feeding.pressed <= whole.pressed).all()
    late = depth.paths.flood.cutoff_s > 60.0
    np.testing.assert_allclose(feeding.pressed[late], 25.0 / depth.paths.flood.cutoff_s[late], rtol=1e-5)
    assert any("the hold ends at 25 s" in note for note in feeding.notes)
    assert not whole.notes


def test_voxels_too_coarse_for_the_thinnest_wall_are_refused_before_the_solve() -> None:
    design = designs()[0]
    coarse = replace(design.shape, grid=replace(design.shape.grid, spacing_mm=5.0))
    with pytest.raises(InputError, match=r"1\.4 cells across the thinnest wall") as refused:
        solve_solid(design.case, coarse)
    assert '--voxel "3.4 mm"' in str(refused.value)


def test_a_feeder_that_touches_no_metal_is_refused() -> None:
    design, depth = designs()[0], solved(0)
    away = replace(design.case, parts=ToolParts(feeders=(FeederHead("north", (0.0, 0.0, 300.0), 40.0, 50.0),)))
    with pytest.raises(InputError, match="no path from feeder to casting"):
        feeder_cells(away, design.shape, depth.times)


def test_a_gate_that_the_solver_placed_feeds_in_place_of_the_hub() -> None:
    design, depth = designs()[0], solved(0)
    case = replace(design.case, parts=ToolParts(gate=Gate(40.0)))
    hub = design.shape.zones.codes == CODE["hub"]
    disc = np.zeros_like(hub)
    top = int(np.flatnonzero(hub.any(axis=(0, 1)))[-1])
    disc[:, :, top] = hub[:, :, top]
    feeding = feed(case, design.shape, replace(depth.times, gate=disc))
    assert feeding.feeder == "the gate" and feeding.paths.flood.feeder.sum() == disc.sum()
    # The whole hub no longer stands on the feeder: its metal has a way of some length.
    inside = hub.ravel()[feeding.paths.flood.flat]
    assert np.nanmax(feeding.paths.length_mm[inside]) > 20.0 > np.nanmax(depth.paths.length_mm[inside])


def test_the_production_cycle_is_told_in_words() -> None:
    face = np.array([np.nan, 231.0, 384.0])
    row = cycle_row(SimpleNamespace(surface_c=face, natural_cycles=11, cycles=3, converged=True, length_s=280.0,
                                    residual_k=0.6))  # fmt: skip
    assert (row.shots, row.saved, row.die_low_c, row.die_high_c) == (3, 8, 231.0, 384.0)
    assert "280 s" in row.words and "8 fewer" in row.words and "231 to 384 degC" in row.words


def test_a_pool_in_a_thin_wall_must_outlast_its_choke_by_more() -> None:
    design, depth = designs()[0], solved(0)
    flooded = depth.paths.flood
    least = least_shares(design.shape, flooded)
    section = design.shape.section.section_mm.ravel()[flooded.flat[flooded.peak]]
    assert least.min() == 0.05 and (least[section < 10.0] > 0.3).all() and (least[section > 27.0] == 0.05).all()


def test_progress_is_told_step_by_step() -> None:
    design, said = designs()[0], []

    class Stop(Exception):
        pass

    def listen(words: str) -> None:
        said.append(words)
        raise Stop

    with pytest.raises(Stop):
        solve_solid(design.case, design.shape, progress=listen)
    assert said and "one tenth" in said[0] and "3.4 mm" in said[0]
