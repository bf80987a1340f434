"""What the chain promises whatever the numbers: directions of common practice, and no surprise at its edges."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from castq.screening.chain import run_chain
from castq.screening.screen import screen, settings_of, zones_of
from castq.screening.uncertain import draw_all
from tests.screening.cases import melt, tool, wheel

# All directions below: common practice, no source.
QUICK = settings(max_examples=15, deadline=None)


def median(case, zone: str, column: str, draws: int = 64) -> float:
    table = screen(case, draws=draws, seed=3).zones.set_index("zone")
    return float(table.loc[zone, column])


def spoke_draws(case) -> dict[str, np.ndarray]:
    """Return the chain's draws for the spoke, before any band is widened."""
    samples = run_chain(zones_of(case.sections), settings_of(case), draw_all(16, 1)).samples
    row = [section.zone for section in case.sections].index("spoke")
    return {name: values[row] for name, values in samples.items()}


@QUICK
@given(thin=st.floats(8.0, 30.0), extra=st.floats(0.0, 10.0))
def test_a_thicker_spoke_never_freezes_sooner(thin: float, extra: float) -> None:
    a, b = spoke_draws(wheel(spoke=thin)), spoke_draws(wheel(spoke=thin + extra))
    for quantity in ("local_solidification_time_s", "solid_time_s", "cutoff_time_s"):
        assert (b[quantity] >= a[quantity] * (1 - 1e-6)).all()


@QUICK
@given(hydrogen=st.floats(0.03, 0.5), extra=st.floats(0.0, 0.2))
def test_more_hydrogen_never_lowers_porosity(hydrogen: float, extra: float) -> None:
    a = spoke_draws(wheel(melt=melt(hydrogen_ml_100g=hydrogen)))
    b = spoke_draws(wheel(melt=melt(hydrogen_ml_100g=hydrogen + extra)))
    assert (b["porosity_pct"] >= a["porosity_pct"] - 1e-12).all()


@QUICK
@given(wall=st.floats(10.0, 24.0), extra=st.floats(1.0, 8.0))
def test_faster_freezing_gives_finer_arms_fewer_pores_more_strength_and_elongation(wall: float, extra: float) -> None:
    fast, slow = spoke_draws(wheel(spoke=wall)), spoke_draws(wheel(spoke=wall + extra))
    assert (fast["sdas_um"] < slow["sdas_um"]).all()
    assert (fast["gas_porosity_pct"] <= slow["gas_porosity_pct"] + 1e-12).all()
    assert (fast["porosity_pct"] <= slow["porosity_pct"] + 1e-12).all()
    for name in ("ys_mpa", "uts_mpa", "elongation_pct", "fatigue_strength_mpa"):
        assert (fast[name] >= slow[name] - 1e-9).all()


def test_a_hot_junction_behind_a_thin_spoke_is_cut_off_and_says_so() -> None:
    sound, starved = wheel(spoke=24.0, junction=16.0), wheel(spoke=12.0, junction=26.0)
    assert median(sound, "spoke-rim junction", "feeding_margin") > 1.1
    assert median(starved, "spoke-rim junction", "feeding_margin") < 1.0
    assert median(starved, "spoke-rim junction", "shrinkage_porosity_pct") > 1.0
    assert median(sound, "spoke-rim junction", "shrinkage_porosity_pct") < 0.4
    result = screen(starved)
    assert result.verdict == "fails"
    assert any(
        c.quantity == "feeding_margin" and c.zone == "spoke-rim junction" and c.verdict == "fails"
        for c in result.checks
    )


def test_hold_pressure_helps_less_where_the_path_closes_early() -> None:
    def left(spoke: float, junction: float) -> float:
        """Gas porosity under 1 bar over that without pressure."""
        gas = [
            median(
                wheel(spoke=spoke, junction=junction, tool=tool(hold_pressure_bar=bar)),
                "spoke-rim junction",
                "gas_porosity_pct",
            )
            for bar in (1.0, 0.0)
        ]
        return gas[0] / gas[1]

    assert left(24.0, 16.0) < 0.75
    assert left(24.0, 16.0) < left(12.0, 30.0) < 1.0


def test_a_choke_that_closes_after_a_zone_takes_no_pressure_from_it() -> None:
    case = wheel(spoke=12.0, junction=26.0)
    samples = run_chain(zones_of(case.sections), settings_of(case), draw_all(1, 0)).samples
    zone = {section.zone: row for row, section in enumerate(case.sections)}
    cutoff, path = samples["cutoff_time_s"][:, 0], samples["path_margin"][:, 0]
    spoke, junction, rim = zone["spoke"], zone["spoke-rim junction"], zone["rim well"]
    # The rim is shut long before the starved junction's own way through the spoke is, so it is fed to its end.
    assert cutoff[rim] < cutoff[spoke] < cutoff[junction]
    assert samples["feeding_margin"][junction, 0] < 1.0 < path[rim]
    assert path[junction] == samples["feeding_margin"][junction, 0]
    assert (path <= samples["feeding_margin"][:, 0]).all()
    assert np.isinf(path[zone["hub"]])


def test_the_sdas_of_wheel_zones_lies_where_wheels_are_measured() -> None:
    # rim and flange 18-30 um, spoke 25-45 um, hub 35-60 um: common practice, no source
    table = screen(wheel()).zones.set_index("zone")
    assert 18 <= table.loc["rim well", "sdas_um"] <= 36
    assert 25 <= table.loc["spoke", "sdas_um"] <= 50
    assert 35 <= table.loc["hub", "sdas_um"] <= 65


def test_bands_hold_their_median_and_the_seed_repeats() -> None:
    first, again = screen(wheel(), seed=5), screen(wheel(), seed=5)
    assert first.zones.equals(again.zones)
    table = first.zones
    for column in [name for name in table.columns if f"{name}_p10" in table.columns]:
        kept = table[column].notna()
        assert (table.loc[kept, f"{column}_p10"] <= table.loc[kept, column]).all()
        assert (table.loc[kept, column] <= table.loc[kept, f"{column}_p90"]).all()


def test_the_hydrogen_limit_is_where_the_porosity_limit_is_met() -> None:
    case = wheel()
    limit = median(case, "spoke", "hydrogen_limit_ml_100g", draws=256)
    below = median(wheel(melt=melt(hydrogen_ml_100g=limit * 0.93)), "spoke", "porosity_pct", draws=256)
    above = median(wheel(melt=melt(hydrogen_ml_100g=limit * 1.07)), "spoke", "porosity_pct", draws=256)
    assert below < 0.5 < above


def test_a_use_outside_a_range_decides_nothing_and_warns() -> None:
    case = wheel(melt=melt(hydrogen_ml_100g=0.75))
    result = screen(case)
    assert any(
        "gas-porosity-estimate" in warning and "hydrogen 0.05 to 0.4 ml/100g" in warning for warning in result.warnings
    )
    sheet = {(c.zone, c.quantity): c.verdict for c in result.checks}
    assert sheet["spoke", "porosity_pct"] == "not decided"
    assert sheet["rim well", "sdas_um"] != "not decided"


def test_a_flow_formed_rim_is_screened_as_its_preform() -> None:
    from castq.screening.types import Limit

    case = wheel(tool=tool(rim_flow_formed=True), limits=(Limit("rim well", "elongation_pct", ">=", 7.0, True),))
    result = screen(case)
    row = next(c for c in result.checks if c.quantity == "elongation_pct")
    assert row.verdict == "not decided"
    assert "flow formed" in row.comment


@pytest.mark.parametrize("quantity", ["sdas_um", "elongation_pct"])
def test_drivers_add_up_and_name_the_known_ones(quantity: str) -> None:
    found = [d for d in screen(wheel(), draws=512).drivers if d.zone == "spoke" and d.quantity == quantity]
    assert 0.7 < sum(d.share for d in found) <= 1.0 + 1e-9
    assert [d.share for d in found] == sorted((d.share for d in found), reverse=True)
    assert found[0].source == {"sdas_um": "SDAS relation", "elongation_pct": "elongation"}[quantity]


def test_the_quadratic_of_the_draws_follows_the_wall_solution() -> None:
    from castq.core.sampling import normal_draws
    from castq.screening.freezing import freeze
    from castq.screening.uncertain import BY_NAME, draw_all
    from castq.thermal.wall import freeze_walls

    case, walls = wheel(), np.array([8.0, 20.0, 40.0])
    draws = draw_all(32, 9)
    draws = {name: (np.zeros(32) if name.startswith("local") else values) for name, values in draws.items()}
    assert set(normal_draws(["interface"], 4, 1)) == {"interface"}
    got = freeze(
        walls,
        ["spoke"] * 3,
        alloy=case.alloy,
        melt=case.melt,
        tool=case.tool,
        calibration=case.calibration,
        draws=draws,
    )
    sigma = {name: BY_NAME[name].one_sigma for name in draws}
    film = np.exp(sigma["interface"] * draws["interface"])
    for row, wall in enumerate(walls):
        exact = freeze_walls(
            np.full(32, wall), alloy=case.alloy, die=case.tool.die,
            melt_temp_c=705.0 + sigma["melt temperature"] * draws["melt temperature"],
            die_temp_c=350.0 + sigma["die temperature"] * draws["die temperature"],
            contact_w_m2k=1500.0 * film, gap_w_m2k=500.0 * film,
            latent_heat_factor=np.exp(sigma["latent heat"] * draws["latent heat"]),
        )  # fmt: skip
        inner = np.abs(draws["interface"]) < 2.5
        np.testing.assert_allclose(
            got.local_solidification_s[row][inner], exact.local_solidification_s[inner], rtol=0.015
        )
