"""What moves the risk: gains over the same draws, levers that do what they say, ranking, combinations, sweeps."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from castq.core.errors import InputError
from castq.geometry.wheel import build_wheel, demo_a
from castq.screening.improve import CASE, Ends, full_plan, improve, planned_ends
from castq.screening.improve_ranges import read_ranges
from castq.screening.improve_trial import Judge, targets_of, widened
from castq.screening.lever_table import levers_of
from castq.screening.levers import Measuring, State, apply, change_of
from castq.screening.outcome import Gain, Outcome, gain_of, matched_interval, met
from castq.screening.sweep import chance, first_order, hypercube, rank_correlation, sweep
from castq.screening.types import CoatingLayer, Limit
from castq.screening.variant import Basis, fingerprint, key_of, solve
from castq.thermal.tool import Circuit, Cycle, Ring, ToolParts
from tests.screening import cases

COARSE = Measuring(5.0, None, None, (), 60.0)


def table_basis(draws: int = 64, **changes: object) -> Basis:
    return Basis(State(cases.wheel(**changes)), draws, 1)


@pytest.fixture(scope="module")
def wheel_basis() -> Basis:
    """Return the demo wheel from its measures, on a coarse grid, with the demo's limits of the porosity kind."""
    from castq.screening.shape import measure_shape

    shape = measure_shape(build_wheel(demo_a(), COARSE.facet_mm), voxel_mm=COARSE.voxel_mm)
    case = replace(cases.wheel(), sections=shape.sections, shape=shape.facts, tool=cases.tool(
        contact_w_m2k=dict.fromkeys(cases.ROLES, 2500.0), gap_w_m2k=dict.fromkeys(cases.ROLES, 700.0)))  # fmt: skip
    return Basis(State(case, "section", demo_a(), COARSE), 64, 1)


class Counted:
    """Runs variants here and counts the solves."""

    def __init__(self, basis: Basis) -> None:
        self.basis, self.asked = basis, []

    def __call__(self, changes):
        self.asked += list(changes)
        return [solve(self.basis, change) for change in changes]


def lever(state: State, name: str):
    return next(entry for entry in levers_of(state)[0] if entry.name == name)


def test_more_hydrogen_never_helps_a_zone_that_porosity_decides() -> None:
    basis = table_basis()
    base = solve(basis, CASE)
    porous = [held.place for held in base.held if held.quantity == "porosity_pct"]
    assert len(porous) == 2
    last = 1.0
    for hydrogen in (0.06, 0.10, 0.14, 0.20, 0.30):
        outcome = solve(basis, change_of({"hydrogen": hydrogen}))
        ok = [float(met(outcome, [place]).mean()) for place in porous]
        assert sum(ok) <= last * len(porous)
        last = sum(ok) / len(porous)
    assert last < 0.5 * sum(float(met(base, [place]).mean()) for place in porous)


def test_each_draw_that_fails_on_hydrogen_fails_on_more_hydrogen() -> None:
    basis = table_basis()
    base, worse = solve(basis, CASE), solve(basis, change_of({"hydrogen": 0.16}))
    for held in base.held:
        if held.quantity == "porosity_pct":
            assert not np.any(met(worse, [held.place]) & ~met(base, [held.place]))


def test_a_lever_without_effect_on_a_zone_gains_exactly_nothing() -> None:
    basis = table_basis()
    base = solve(basis, CASE)
    outcome = solve(basis, change_of({"die_temp.hub": 330.0}))
    spoke = [held.place for held in base.held if held.zone == "rim well"]
    assert gain_of(base, outcome, spoke) == Gain(0.0, 0.0, 0.0, 0.0)
    same = solve(basis, change_of({"hydrogen": 0.12}))
    every = [held.place for held in base.held]
    assert gain_of(base, same, every) == Gain(0.0, 0.0, 0.0, 0.0)
    assert same.solid_time_s == base.solid_time_s


def test_a_thicker_spoke_weighs_what_the_closed_surface_says(wheel_basis: Basis) -> None:
    thicker = 24.5
    present = 0.5 * (demo_a().spoke_thickness_hub_mm + demo_a().spoke_thickness_rim_mm)
    step = thicker - present
    drawn = replace(demo_a(), spoke_thickness_hub_mm=demo_a().spoke_thickness_hub_mm + step,
                    spoke_thickness_rim_mm=demo_a().spoke_thickness_rim_mm + step)  # fmt: skip
    expected_kg = (build_wheel(drawn).volume_mm3 - build_wheel(demo_a()).volume_mm3) * 2.68e-6
    base, outcome = solve(wheel_basis, CASE), solve(wheel_basis, change_of({"spoke_thickness": thicker}))
    assert outcome.weight_kg - base.weight_kg == pytest.approx(expected_kg, rel=1e-6)
    assert expected_kg > 0.2
    process = solve(wheel_basis, change_of({"hold_pressure": 1.0}))
    assert process.weight_kg == base.weight_kg


def test_shape_levers_move_what_they_say_and_keep_the_rest(wheel_basis: Basis) -> None:
    state = wheel_basis.state
    levers, _ = levers_of(state)
    moved = apply(state, change_of({"spoke_taper": 3.0, "spoke_thickness": 22.0}), levers).wheel
    assert moved is not None
    assert moved.spoke_thickness_hub_mm == pytest.approx(23.5)
    assert moved.spoke_thickness_rim_mm == pytest.approx(20.5)
    assert replace(moved, spoke_thickness_hub_mm=25.0, spoke_thickness_rim_mm=16.0) == demo_a()
    assert apply(state, change_of({"pocket_depth": 5.0}), levers).wheel == replace(demo_a(), pocket_depth_mm=5.0)


def test_every_lever_reads_back_the_value_it_was_moved_to(wheel_basis: Basis) -> None:
    ring = Circuit("hub ring", Ring(60.0, 20.0, 8.0), "water", 3000.0, 20.0, ((10.0, 40.0),))
    parts = ToolParts(circuits=(ring,), cycle=Cycle(10.0, 100.0, 120.0, 30.0, 10.0, 10.0))
    case = replace(wheel_basis.state.case, parts=parts)
    state = replace(wheel_basis.state, case=case, depth="solid")
    levers, _ = levers_of(state)
    names = {entry.name for entry in levers}
    assert {"circuit.hub ring.radius", "circuit.hub ring.height", "circuit.hub ring.on", "circuit.hub ring.start",
            "open_time", "hydrogen", "melt_temp", "die_wall", "hold_pressure", "pocket_depth"} <= names  # fmt: skip
    for entry in levers:
        low, high = entry.ends(state)
        assert low <= entry.value(state) <= high and low < high
        if entry.name != "interface":
            assert entry.value(entry.moved(state, high)) == pytest.approx(high)


def test_interface_and_coating_act_in_series() -> None:
    coat = CoatingLayer("oxide", 0.35, dict.fromkeys(cases.ROLES, 150.0))
    case = replace(cases.wheel(), tool=cases.tool(coating=coat))
    state = State(case)
    tool = apply(state, change_of({"coating": 185.0}), levers_of(state)[0]).case.tool
    # 35 um of 0.35 W/mK is 1e-4 m2K/W, by hand: 1500 -> 1304.35 and 500 -> 476.19 W/m2K
    assert tool.contact_w_m2k["hub"] == pytest.approx(1304.348, rel=1e-6)
    assert tool.gap_w_m2k["hub"] == pytest.approx(476.1905, rel=1e-6)
    assert tool.coating.thickness_um["spoke"] == pytest.approx(185.0)
    assert "interface" not in {entry.name for entry in levers_of(state)[0]}


def test_what_does_not_apply_is_listed_with_the_reason() -> None:
    reasons = {entry.label: entry.reason for entry in levers_of(State(cases.wheel()))[1]}
    assert "[wheel]" in reasons["Spoke thickness"]
    assert "cycle" in reasons["Open time"]
    assert "none" in reasons["Cooling circuits"]
    gravity = replace(cases.wheel(), tool=cases.tool(route="gravity"))
    assert "gravity" in {entry.label: entry.reason for entry in levers_of(State(gravity))[1]}["Hold pressure"]
    ring = Circuit("ring", Ring(60.0, 20.0, 8.0), "water", 3000.0, 20.0, ((10.0, 40.0),))
    cooled = replace(cases.wheel(), parts=ToolParts(circuits=(ring,)))
    assert "--depth solid" in {entry.label: entry.reason for entry in levers_of(State(cooled))[1]}["Cooling circuits"]


def test_a_circuit_that_is_on_throughout_has_no_times_to_move() -> None:
    ring = Circuit("ring", Ring(60.0, 20.0, 8.0), "water", 3000.0, 20.0, ((0.0, math.inf),))
    state = State(replace(cases.wheel(), parts=ToolParts(circuits=(ring,))), "solid")
    levers, left_out = levers_of(state)
    assert "circuit.ring.on" not in {entry.name for entry in levers}
    assert "throughout" in {entry.label: entry.reason for entry in left_out}["Times of circuit ring"]


def test_the_interval_of_a_matched_difference_is_that_of_the_worked_example() -> None:
    # Counts 150 and 86 of 1600 by hand: (150.5 - 86.5)/1602 = 0.0399501; sqrt(237 - 64^2/1602)/1602 = 0.0095578
    low, high = matched_interval(150, 86, 1600)
    assert 0.5 * (low + high) == pytest.approx(64.0 / 1602.0, rel=1e-9)
    assert 0.5 * (high - low) == pytest.approx(1.959964 * 0.0095578, rel=1e-4)
    assert matched_interval(0, 0, 256)[0] < 0.0 < matched_interval(0, 0, 256)[1]


def test_the_interval_covers_the_gain_of_many_more_draws() -> None:
    few, many = table_basis(64), table_basis(2048)
    change = change_of({"hydrogen": 0.08})
    places = [held.place for held in solve(few, CASE).held]
    gain = gain_of(solve(few, CASE), solve(few, change), places)
    truth = gain_of(solve(many, CASE), solve(many, change), places)
    assert gain.low <= truth.value <= gain.high
    assert truth.high - truth.low < gain.high - gain.low


def test_what_a_variant_leaves_open_is_not_counted_as_a_gain() -> None:
    basis = table_basis()
    base = solve(basis, CASE)
    fewer = replace(base, held=tuple(held for held in base.held if held.quantity != "porosity_pct"))
    places = [held.place for held in base.held]
    gain = gain_of(base, fewer, places)
    assert math.isnan(gain.value) and gain.undecided == ("porosity_pct",)
    trial = Judge(base, targets_of(basis, base)).trial(fewer, change_of({"hydrogen": 0.1}))
    assert not trial.known and "porosity undecided" in trial.note
    assert trial.score == (-math.inf, -math.inf)


def test_targets_are_the_zones_least_likely_to_pass() -> None:
    basis = table_basis()
    base = solve(basis, CASE)
    targets = targets_of(basis, base)
    assert targets[-1].name == "whole wheel"
    chances = [target.probability for target in targets[:-1]]
    assert chances == sorted(chances) and len(chances) == 3
    assert targets[-1].probability <= min(chances)
    every = {held.zone for held in base.held} - {target.name for target in targets}
    for zone in every:
        places = [held.place for held in base.held if held.zone == zone]
        assert float(met(base, places).mean()) >= chances[-1]


def test_improve_asks_for_no_more_solves_than_its_budget_and_says_when_it_ended() -> None:
    basis = table_basis(32)
    run = Counted(basis)
    result = improve(basis, run, budget=6)
    assert len(run.asked) == 6 == result.used and result.short
    alone = improve(basis, Counted(basis), budget=30, chosen=planned_ends(basis, ["spoke"])[:2])
    assert not alone.short and alone.used == len({CASE, *(t.change for m in alone.moved for t in (m.low, m.high))}) + \
        len(alone.combinations)  # fmt: skip


def test_combinations_are_solved_not_added_up_and_the_best_stands_first() -> None:
    basis = table_basis(32)
    run = Counted(basis)
    result = improve(basis, run, budget=60)
    assert not result.short and result.used == len(run.asked) <= full_plan(basis).solves
    assert len(result.combinations) > 5
    for trial in result.combinations[:5]:
        assert len(trial.change) in (2, 3, 4) and trial.change in run.asked
        outcome = solve(basis, trial.change)
        assert trial.gains[-1] == gain_of(result.base, outcome, result.targets[-1].places)
    scores = [trial.score for trial in result.combinations]
    assert scores == sorted(scores, reverse=True)
    reach = [moved.reach for moved in result.moved]
    assert reach == sorted(reach, reverse=True)


def test_a_gain_of_a_changed_shape_carries_what_the_grid_alone_changes(wheel_basis: Basis) -> None:
    chosen = read_ranges(["spoke_thickness=18..23 mm"], wheel_basis.state)
    run = Counted(wheel_basis)
    result = improve(wheel_basis, run, budget=4, chosen=chosen)
    assert (("voxel", 4.75),) in run.asked
    trial = result.moved[0].high
    bare = gain_of(result.base, solve(wheel_basis, trial.change), result.targets[0].places)
    grid = result.grid[0].value
    assert trial.gains[0] == widened(bare, grid)
    assert widened(Gain(0.1, 0.07, 0.13, 0.0), 0.04) == Gain(0.1, pytest.approx(0.05), pytest.approx(0.15), 0.0)


def test_a_variant_that_cannot_be_made_says_why_and_stops_nothing(wheel_basis: Basis) -> None:
    broken = solve(wheel_basis, change_of({"pocket_depth": 28.0}))
    assert "pocket" in broken.fault and not broken.held
    result = improve(wheel_basis, Counted(wheel_basis), budget=4, chosen=[
        Ends(lever(wheel_basis.state, "pocket_depth"), 9.0, 28.0), Ends(lever(wheel_basis.state, "hydrogen"), 0.1, 0.14)
    ])  # fmt: skip
    trial = next(moved.high for moved in result.moved if moved.lever.name == "pocket_depth")
    assert "pocket" in trial.note and not trial.known


def test_a_variant_slower_than_the_cycle_says_how_long_the_die_must_stay_closed() -> None:
    cycle = Cycle(5.0, 20.0, 30.0, 30.0, 10.0, 10.0)
    basis = table_basis(32, parts=ToolParts(cycle=cycle))
    result = improve(basis, Counted(basis), budget=5)
    told = [t.note for m in result.moved for t in (m.low, m.high) if t is not None]
    assert any("closed" in note and "25 s" in note for note in told)
    assert result.closed_s == pytest.approx(result.base.solid_late_s + 10.0)


def test_a_case_without_a_decided_limit_is_refused() -> None:
    basis = table_basis(32, limits=(Limit("hub", "hardness_hb", ">=", 60.0, False),))
    assert targets_of(basis, solve(basis, CASE))
    nothing = Outcome("", 32)
    with pytest.raises(InputError, match="no limit is decided"):
        targets_of(basis, nothing)


def test_planned_levers_try_the_die_in_the_worst_zones_alone() -> None:
    basis = table_basis()
    names = [entry.lever.name for entry in planned_ends(basis, ["spoke"])]
    assert "die_temp.spoke" in names and "die_temp" in names and "die_temp.hub" not in names


def test_ranges_are_read_with_units_and_spellings() -> None:
    state = State(cases.wheel())
    first, second, third = read_ranges(
        ["hydrogen=0.08..0.14 ml/100g", "Melt temperature = 690 degC..720 °C", "die-temp.spoke-rim junction=680..790F"],
        state,
    )  # fmt: skip
    assert (first.lever.name, first.low, first.high) == ("hydrogen", 0.08, 0.14)
    assert (second.lever.name, second.low, second.high) == ("melt_temp", 690.0, 720.0)
    assert third.lever.name == "die_temp.spoke-rim junction"
    assert (third.low, third.high) == (pytest.approx(360.0), pytest.approx(421.111, abs=1e-3))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("hydrogn=0.1..0.2 ml/100g", "did you mean hydrogen"),
        ("hydrogen=0.2..0.1 ml/100g", "lower end first"),
        ("hydrogen=0.1..0.1 ml/100g", "lower end first"),
        ("hydrogen=0.1..0.2", "no unit"),
        ("hydrogen=0.1 ml/100g", "is not a range"),
        ("hydrogen", "is not a range"),
        ("hydrogen=0.1..9 ml/100g", "leaves what is tried"),
        ("hydrogen=0.1..2 bar", "unit"),
        ("spoke thickness=1..2 mm", r"\[wheel\]"),
        ("=1..2 mm", "is not a lever"),
    ],
)
def test_a_range_that_cannot_be_is_refused_in_one_sentence(text: str, says: str) -> None:
    with pytest.raises(InputError, match=says) as caught:
        read_ranges([text], State(cases.wheel()))
    assert len(caught.value.faults) == 1


def test_a_lever_named_twice_is_refused() -> None:
    with pytest.raises(InputError, match="given twice"):
        read_ranges(["hydrogen=0.1..0.2 ml/100g", "Hydrogen=0.1..0.3 ml/100g"], State(cases.wheel()))


def test_a_hypercube_has_each_lever_once_in_each_slice() -> None:
    state = State(cases.wheel())
    ends = (Ends(lever(state, "hydrogen"), 0.05, 0.25), Ends(lever(state, "melt_temp"), 690.0, 730.0))
    changes = hypercube(ends, 20, 3)
    for name, low, high in (("hydrogen", 0.05, 0.25), ("melt_temp", 690.0, 730.0)):
        slices = [int((dict(change)[name] - low) / (high - low) * 20) for change in changes]
        assert sorted(slices) == list(range(20))
    assert hypercube(ends, 20, 3) == changes != hypercube(ends, 20, 4)


def test_a_sweep_finds_the_lever_that_the_gas_follows() -> None:
    basis = table_basis(32)
    state = basis.state
    ends = (Ends(lever(state, "hydrogen"), 0.06, 0.3), Ends(lever(state, "hold_pressure"), 0.75, 0.85))
    result = sweep(basis, Counted(basis), ends, count=40, seed=1)
    porosity = [effect for effect in result.effects if effect.result == "porosity_pct, spoke-rim junction"]
    assert porosity[0].lever == "hydrogen" and porosity[0].share > 0.9
    assert porosity[0].rank_correlation > 0.95
    assert abs(porosity[1].share) < 0.3
    assert len(result.results["solid_time_s"]) == 40 and np.ptp(result.results["solid_time_s"]) == 0.0
    assert not any(effect.result == "solid_time_s" for effect in result.effects)


def test_shares_and_ranks_on_a_known_function() -> None:
    rng = np.random.default_rng(5)
    a, b, c = rng.random((3, 600))
    # Variances 4/12 and 1/12 of two independent uniform parts: shares 0.8 and 0.2, and none for the third.
    y = 2.0 * a + b
    assert first_order(a, y) == pytest.approx(0.8, abs=0.04)
    assert first_order(b, y) == pytest.approx(0.2, abs=0.05)
    assert abs(first_order(c, y)) < 0.03
    assert rank_correlation(a, np.exp(5.0 * a)) == pytest.approx(1.0)
    assert rank_correlation(a, -a) == pytest.approx(-1.0)
    scatter = [abs(rank_correlation(rng.random(50), rng.random(50))) for _ in range(400)]
    assert np.mean(np.array(scatter) < chance(50)) == pytest.approx(0.95, abs=0.03)


def test_a_basis_is_told_apart_by_what_changes_a_result_and_by_nothing_else() -> None:
    basis = table_basis()
    case = basis.state.case
    renamed = Basis(State(replace(case, defaults_used=("x",), warnings=("y",))), 64, 1)
    assert fingerprint(renamed) == fingerprint(basis)
    for other in (
        Basis(State(replace(case, melt=cases.melt(hydrogen_ml_100g=0.13))), 64, 1),
        Basis(State(replace(case, limits=case.limits[:2])), 64, 1),
        Basis(State(case), 128, 1),
        Basis(State(case), 64, 2),
        Basis(State(case, "solid"), 64, 1),
    ):
        assert fingerprint(other) != fingerprint(basis)
    sha = fingerprint(basis)
    assert key_of(sha, change_of({"a": 1.0, "b": 2.0})) == key_of(sha, change_of({"b": 2.0, "a": 1.0}))
    assert key_of(sha, change_of({"a": 1.0})) != key_of(sha, change_of({"a": 1.1}))


def test_an_outcome_survives_being_written_down() -> None:
    outcome = solve(table_basis(), CASE)
    again = Outcome.from_dict(json.loads(json.dumps(outcome.to_dict(), allow_nan=False)))
    assert again.held == outcome.held
    assert again.to_dict() == outcome.to_dict()
