"""What the desk answers to a sample: the four answers, their odds and their grounds."""

from __future__ import annotations

import json
import time
from dataclasses import fields, replace
from datetime import timedelta

import numpy as np
import pytest

from castq.core.errors import InputError
from castq.melt.defaults import default_kinetics
from castq.melt.engine import ANSWERS, HOLD
from castq.melt.evidence import evidence_of, evidence_of_columns, evidence_of_log, pairs_needed, proven_below
from castq.melt.judge import judge, judge_many
from castq.melt.plain import plain_data
from castq.melt.records import payload_of
from castq.melt.types import Air, Kinetics, MeltTarget
from castq.physics.degassing import minutes_to_target
from tests.melt.melts import NOON, pair, sample

DRY_KINETICS = Kinetics(0.18, 0.35, 0.06, 0.01, 0.005)
FIVE = (2.4, 1.9, 3.1, 2.2, 2.6)


def test_worked_minutes_with_their_spread() -> None:
    stated = replace(sample(readings=(0.28,)).readings[0], one_sigma_ml_100g=0.02, alloy_factor=0.6803)
    answer = judge([replace(sample(), readings=(stated,))], MeltTarget(hydrogen_ml_100g=0.10), DRY_KINETICS)
    assert answer.answer == "degas"
    assert answer.minutes_median == pytest.approx(9.54, rel=0.02)
    assert answer.minutes_sure == pytest.approx(17.8, rel=0.02)
    assert answer.words == "Degas 10 minutes more for even odds of 0.1 ml/100 g, 18 minutes to be 95 % sure."


def test_five_pairs_prove_three_percent_and_not_two_and_a_half() -> None:
    evidence = evidence_of([[sample(FIVE)]])
    assert evidence.index_pct[0] == pytest.approx(2.44, abs=1e-9)
    assert evidence.index_spread_pct[0] == pytest.approx(0.4506, abs=5e-5)
    assert proven_below(evidence, 0.95)[0] == pytest.approx(2.870, abs=5e-4)
    assert judge([sample(FIVE)], MeltTarget(density_index_pct=3.0)).answer == "cast"
    assert judge([sample(FIVE)], MeltTarget(density_index_pct=2.5)).answer != "cast"


@pytest.mark.parametrize(("margin", "needed"), [(4.47, 2), (1.70, 3), (1.19, 4), (0.96, 5), (0.68, 8), (0.1, None)])
def test_samples_needed_follow_the_one_sided_t(margin: float, needed: int | None) -> None:
    evidence = evidence_of([[sample(FIVE)]])
    found = pairs_needed(evidence, 2.44 + margin * 0.4506, 0.95)[0]
    assert (None if np.isnan(found) else found) == needed


@pytest.mark.parametrize("index", [1.9, 2.2, 2.45, 2.6])
def test_one_pair_near_the_limit_is_never_cast(index: float) -> None:
    answer = judge([sample((index,))], MeltTarget(density_index_pct=2.5))
    assert answer.answer != "cast"
    assert answer.samples_needed is None or answer.samples_needed >= 1
    assert any("One pair near the limit proves nothing" in reason for reason in answer.reasons)


def test_one_pair_far_below_the_limit_may_be_cast() -> None:
    assert judge([sample((0.8,))], MeltTarget(density_index_pct=2.5)).answer == "cast"


def test_two_equal_pairs_do_not_prove_what_chance_agreement_seems_to() -> None:
    assert judge([sample((2.3, 2.3))], MeltTarget(density_index_pct=2.5)).answer != "cast"


@pytest.mark.parametrize("count", [1, 3, 30])
def test_the_equivalent_never_proves_hydrogen_however_many_pairs(count: int) -> None:
    answer = judge([sample((0.5,) * count)])
    assert answer.answer == "hold and resample"
    assert answer.hydrogen_is_equivalent
    assert answer.samples_needed is None
    assert answer.hydrogen_ml_100g.p90 - answer.hydrogen_ml_100g.p10 > 2.0 * 1.28 * 0.04 * 0.95
    assert any("hydrogen reading" in words for words in answer.what_helps)


def test_readings_prove_hydrogen_and_say_how_many_more() -> None:
    near = judge([sample(readings=(0.107,))])
    assert near.answer == "hold and resample"
    assert near.samples_needed is not None
    enough = judge([sample(readings=(0.107,) * (1 + near.samples_needed))])
    assert enough.answer == "cast"
    assert judge([sample(readings=(0.107,) * near.samples_needed)]).answer != "cast"


def test_a_factor_set_in_the_instrument_is_carried_to_the_scale_of_castq() -> None:
    other = judge([sample(readings=(0.123,), factor=0.837)])
    same = judge([sample(readings=(0.123 * 0.680303 / 0.837,), factor=0.680303)])
    assert other.hydrogen_ml_100g.median == pytest.approx(same.hydrogen_ml_100g.median, rel=2e-3)


def test_an_unknown_factor_does_not_average_out() -> None:
    known = judge([sample(readings=(0.107,) * 30)])
    unknown = judge([sample(readings=(0.107,) * 30, factor=None)])
    assert known.hydrogen_ml_100g.p90 < unknown.hydrogen_ml_100g.p90 - 0.005


def test_an_index_above_the_physical_bound_is_oxides_or_a_bad_sample() -> None:
    answer = judge([sample((18.0,), (0.09,))])
    assert answer.bad_sample
    assert answer.answer == "hold and resample"
    assert answer.density_index_bound_pct is not None and answer.density_index_bound_pct < 18.0
    assert "oxides" in answer.bad_sample_why
    assert answer.hydrogen_ml_100g.median == pytest.approx(judge([sample(readings=(0.09,))]).hydrogen_ml_100g.median)
    assert judge([sample((40.0,))]).bad_sample
    assert not judge([sample((7.0,), (0.09,))]).bad_sample


def test_humid_air_puts_a_target_out_of_reach_and_says_what_helps() -> None:
    answer = judge([sample(readings=(0.2,))], MeltTarget(hydrogen_ml_100g=0.09), air=Air(32.0, 85.0))
    assert answer.answer == "cannot reach"
    assert np.isinf(answer.minutes_median)
    assert any("dew point" in words and "ml/100 g" in words for words in answer.what_helps)
    assert judge([sample(readings=(0.2,))], MeltTarget(hydrogen_ml_100g=0.09), air=Air(10.0, 40.0)).answer == "degas"


def test_a_floor_near_the_target_leaves_even_odds_and_no_certainty() -> None:
    kinetics = Kinetics(0.18, 0.35, 0.085, 0.015, 0.005, name="F1")
    answer = judge([sample(readings=(0.2,))], MeltTarget(hydrogen_ml_100g=0.10), kinetics)
    assert answer.answer == "degas"
    assert np.isfinite(answer.minutes_median) and np.isinf(answer.minutes_sure)
    assert "no number of minutes" in answer.words


def test_the_melt_regasses_between_sample_and_answer() -> None:
    at_once = judge([sample(readings=(0.085,))])
    later = judge([sample(readings=(0.085,))], now=NOON + timedelta(hours=6))
    assert later.hydrogen_ml_100g.median > at_once.hydrogen_ml_100g.median + 0.01
    assert at_once.good_until is not None and at_once.good_until > NOON
    assert later.probability_ok < at_once.probability_ok


def test_a_cast_melt_has_a_clock_and_every_answer_its_cautions() -> None:
    good, poor = judge([sample(readings=(0.085,))]), judge([sample(readings=(0.28,))])
    assert [clock.kind for clock in good.clocks] == ["hydrogen"]
    assert good.clocks[0].minutes_sure < good.clocks[0].minutes_median
    assert poor.good_until is None
    for answer in (good, poor):
        assert any("never shorten a hold" in words for words in answer.cautions)
        assert "hydrogen-from-water-vapour" in answer.relations_used


def test_defaults_are_named_and_given_values_are_not() -> None:
    assert len(judge([sample((2.0,), (0.1,), None)]).defaults_used) == 5
    stated = replace(sample(readings=(0.1,)).readings[0], one_sigma_ml_100g=0.01)
    told = judge([replace(sample(), readings=(stated,))], None, replace(DRY_KINETICS, name="F1"), Air(20.0, 50.0))
    assert told.defaults_used == ()


def test_same_seed_same_answer_and_another_seed_nearly() -> None:
    first, again, other = (judge([sample((2.0, 3.0), (0.15,))], seed=seed) for seed in (1, 1, 2))
    assert first == again
    assert other.minutes_sure == pytest.approx(first.minutes_sure, rel=0.03)


def test_pressures_are_never_mixed() -> None:
    mixed = replace(sample((2.0,)), pairs=(pair(2.0), pair(2.0, 30.0)))
    with pytest.raises(InputError, match="mixed"):
        judge([mixed])
    other = replace(sample(), pairs=(pair(2.0, 30.0),))
    with pytest.raises(InputError, match="set for 80 mbar"):
        judge([other], MeltTarget(density_index_pct=2.0))


def test_a_log_is_judged_row_by_row_as_one_melt_at_a_time() -> None:
    melts = [
        sample((1.0,)),
        sample((4.0, 5.0)),
        sample(readings=(0.2,)),
        sample((18.0,), (0.09,)),
        sample((2.0,), (0.1,)),
    ]
    target = MeltTarget(density_index_pct=2.5)
    many = judge_many(evidence_of([[melt] for melt in melts]), target, draws=4096)
    for row, melt in enumerate(melts):
        one = judge([melt], target)
        assert many.words()[row] == one.answer
        assert many.probability_ok[row] == pytest.approx(one.probability_ok, abs=0.01)
        assert many.minutes_sure[row] == pytest.approx(one.minutes_sure, rel=0.02)
    assert many.answer[3] == HOLD and many.bad_sample[3]


def test_a_year_of_samples_is_judged_in_a_second_of_work() -> None:
    rng = np.random.default_rng(1)
    index = rng.lognormal(np.log(2.0), 0.5, 100_000)
    reading = np.where(rng.random(100_000) < 0.3, rng.lognormal(np.log(0.13), 0.25, 100_000), np.nan)
    evidence = evidence_of_columns(index, reading)
    start = time.process_time()
    many = judge_many(evidence, MeltTarget(density_index_pct=2.0))
    assert time.process_time() - start < 1.5
    assert set(np.unique(many.answer)) <= set(range(len(ANSWERS)))
    assert np.isfinite(many.probability_ok).all()


def test_a_log_table_gives_the_evidence_of_its_samples() -> None:
    melts = [sample((1.0, 2.0), (0.1,)), sample((3.0,)), sample(readings=(0.2, 0.3), factor=None)]
    payloads = [payload_of(melt) for melt in melts]
    columns = (
        [row["alloy"] for row in payloads],
        *([row.get(name, []) for row in payloads] for name in ("pairs", "readings")),
    )
    by_table, by_samples = evidence_of_log(*columns), evidence_of([[melt] for melt in melts])
    for field in fields(by_samples):
        np.testing.assert_array_equal(getattr(by_table, field.name), getattr(by_samples, field.name))


def test_pairs_without_any_difference_still_carry_the_error_of_weighing() -> None:
    evidence = evidence_of([[sample((0.0, 0.0, 0.0))]])
    assert evidence.scatter_pct()[0] == 0.07
    assert judge([sample((0.0, 0.0, 0.0))], MeltTarget(density_index_pct=1.0)).answer == "cast"


def test_a_judgement_is_plain_json() -> None:
    answer = judge([sample(readings=(0.2,))], MeltTarget(hydrogen_ml_100g=0.05))
    data = json.loads(json.dumps(plain_data(answer), allow_nan=False))
    assert data["answer"] == "cannot reach"
    assert data["minutes_median"] is None
    assert data["hydrogen_ml_100g"]["median"] == pytest.approx(0.2, abs=0.002)
    good = plain_data(judge([sample(readings=(0.085,))]))
    assert good["good_until"].startswith("2026-07-01T1") and good["good_until"].endswith("+00:00")


def test_more_hydrogen_never_asks_for_less_degassing() -> None:
    readings = np.linspace(0.05, 0.5, 40)
    many = judge_many(evidence_of_columns(np.full(40, np.nan), readings))
    assert np.all(np.diff(many.minutes_sure) >= 0.0) and np.all(np.diff(many.probability_ok) <= 0.0)
    kinetics = default_kinetics()
    middle = minutes_to_target(0.3, 0.12, kinetics.floor_ml_100g, kinetics.rate_per_min)
    assert np.interp(0.3, readings, many.minutes_median) == pytest.approx(float(middle), rel=0.06)
