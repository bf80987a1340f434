"""What lies outside a range: known where it is, carried to what rests on it, and never decided on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from castq.geometry.roles import ROLES
from castq.screening.compare import compare
from castq.screening.freezing import freeze
from castq.screening.screen import screen
from castq.screening.types import Calibration, Limit
from castq.screening.uncertain import draw_all
from castq.thermal.wall import freeze_walls
from tests.screening.cases import melt, section, tool, wheel


def test_a_film_beyond_the_range_of_the_wall_solution_decides_nothing_in_its_zone_only() -> None:
    film = dict.fromkeys(ROLES, 1500.0) | {"rim well": 25_000.0}
    result = screen(wheel(tool=tool(contact_w_m2k=film)))
    assert {zone for zone, _ in _undecided(result)} == {"rim well"}
    assert any(w.startswith("rim well: relation wall-transient-1d is used outside") for w in result.warnings)


def test_a_choke_outside_the_range_reaches_the_zones_it_feeds_and_not_the_zone_it_is_in() -> None:
    sections = (
        section("hub", "hub", 34.0, "gate"),
        section("spoke", "spoke", 18.0, "hub", choke=120.0),
        section("junction", "spoke-rim junction", 16.0, "spoke"),
        section("rim", "rim well", 8.0, "junction"),
    )
    result = screen(wheel(sections=sections, limits=()))
    assert _undecided(result) >= {("junction", "feeding_margin"), ("junction", "porosity_pct"), ("rim", "porosity_pct")}
    assert not _undecided(result) & {("rim", "feeding_margin"), ("junction", "sdas_um")}
    assert not {zone for zone, _ in _undecided(result)} & {"hub", "spoke"}
    assert any(w.startswith("the way that feeds junction: relation wall") for w in result.warnings)


def test_a_die_close_to_the_end_of_freezing_keeps_its_median_and_says_so() -> None:
    hot = tool(die_temp_c=dict.fromkeys(ROLES, 550.0))
    case = wheel(tool=hot)
    times = freeze(
        np.array([18.0]), ["spoke"], alloy=case.alloy, melt=case.melt, tool=hot, draws=draw_all(1, 0),
        calibration=Calibration(),
    )  # fmt: skip
    true = freeze_walls(
        18.0, alloy=case.alloy, die=hot.die, melt_temp_c=705.0, die_temp_c=550.0, contact_w_m2k=1500.0, gap_w_m2k=500.0
    )
    assert times.solid_s[0, 0] == pytest.approx(true.solid_s[0], rel=0.005)
    result = screen(case)
    assert result.verdict == "not decided"
    assert any("die temp 20 to 500 degC" in warning for warning in result.warnings)


def test_no_hydrogen_limit_where_what_it_rests_on_is_outside_but_one_for_a_gassy_melt() -> None:
    hot = screen(wheel(tool=tool(die_temp_c=dict.fromkeys(ROLES, 500.0)))).zones.set_index("zone")
    assert np.isnan(hot.loc["spoke-rim junction", "hydrogen_limit_ml_100g"])
    assert hot.loc["spoke", "hydrogen_limit_ml_100g"] > 0.0
    gassy, usual = (screen(wheel(melt=melt(hydrogen_ml_100g=h))).zones.set_index("zone") for h in (0.5, 0.12))
    assert gassy.loc["spoke", "hydrogen_limit_ml_100g"] == usual.loc["spoke", "hydrogen_limit_ml_100g"]


def test_a_limit_on_what_is_not_known_is_not_decided_and_never_lost() -> None:
    limit = Limit("spoke-rim junction", "niyama", ">=", 0.2, False)
    result = screen(wheel(limits=(limit,)))
    assert np.isnan(result.samples["niyama"][3]).any()
    assert [c.verdict for c in result.checks if c.quantity == "niyama"] == ["not decided"]


def test_where_nothing_is_decided_there_is_no_probability() -> None:
    case = wheel(sections=(section("s", "spoke", 90.0, "gate"),))
    result = screen(case)
    assert result.verdict == "not decided"
    assert np.isnan(result.probability_ok)


def test_what_decides_nothing_decides_no_comparison_and_is_named() -> None:
    case = wheel(tool=tool(rim_flow_formed=True))
    a, b = screen(case), screen(replace(case, sections=wheel(spoke=27.0).sections))
    result = compare(a, b)
    found = {d.quantity for d in result.differences if d.role == "rim well"}
    assert "porosity_pct" in found
    assert "elongation_pct" not in found
    assert any(w.startswith("rim well: not compared") and "elongation" in w for w in result.warnings)
    gassy = wheel(melt=melt(hydrogen_ml_100g=0.5))
    assert compare(screen(gassy), screen(wheel())).verdict == "no difference"


def test_a_different_calibration_is_pointed_out() -> None:
    tuned = wheel(calibration=Calibration("line 2", porosity_factor=0.5))
    assert any("calibration differs" in w for w in compare(screen(wheel()), screen(tuned)).warnings)


def _undecided(result) -> set[tuple[str, str]]:
    return {(result.case.sections[row].zone, quantity) for row, quantity in result.undecided}
