"""A planned treatment: minutes, second opinion, what each setting would change."""

from __future__ import annotations

import numpy as np
import pytest

from castq.core.errors import InputError
from castq.melt.plan import Setting, plan_treatment
from castq.melt.types import Air, Kinetics, MeltTarget

SETTING = Setting("AlSi7Mg0.3", 720.0, melt_kg=500.0, gas_flow_nl_min=20.0)
FITTED = Kinetics(0.288, 0.2, 0.06, 0.01, 0.005, name="F1", points=20)
LOW = MeltTarget(hydrogen_ml_100g=0.10)


def test_worked_minutes_and_their_spread() -> None:
    kinetics = Kinetics(0.18, 0.35, 0.06, 0.01, 0.005)
    plan = plan_treatment(0.28, SETTING, LOW, kinetics, one_sigma_ml_100g=0.02)
    assert plan.minutes_median == pytest.approx(9.54, rel=0.02)
    assert plan.minutes_sure == pytest.approx(17.8, rel=0.02)
    assert "10 min for even odds" in plan.words


def test_second_opinion_lies_between_its_limits_and_tells_what_controls() -> None:
    opinion = plan_treatment(0.28, SETTING, LOW, FITTED).second_opinion
    assert opinion is not None
    # 500 kg, 20 l/min, transfer 0.001 m3/s: integrated by Simpson's rule apart from castq.
    assert opinion.minutes == pytest.approx(7.302, rel=2e-3)
    assert opinion.gas_minutes < opinion.diffusion_minutes < opinion.minutes
    assert opinion.gas_nl == pytest.approx(20.0 * opinion.minutes)
    assert opinion.gas_need == pytest.approx(46.6, rel=5e-3)
    assert opinion.used_at_target == pytest.approx(0.47315**2, rel=5e-3)
    assert "both" in opinion.controls


@pytest.mark.parametrize(("flow", "words"), [(200.0, "diffusion in the metal"), (2.0, "leaves nearly in balance")])
def test_much_gas_leaves_diffusion_and_little_gas_leaves_balance(flow: float, words: str) -> None:
    opinion = plan_treatment(0.28, Setting("A356", 720.0, 500.0, flow), LOW, FITTED).second_opinion
    assert opinion is not None and words in opinion.controls


def test_no_second_opinion_without_melt_or_gas() -> None:
    plan = plan_treatment(0.28, Setting("A356", 720.0), LOW, FITTED)
    assert plan.second_opinion is None
    assert any("second opinion" in words for words in plan.defaults_used)


def test_effects_have_the_sign_of_the_trade() -> None:
    plan = plan_treatment(0.28, Setting("A356", 720.0, 500.0, 20.0, Air(30.0, 70.0)), MeltTarget(hydrogen_ml_100g=0.13))
    by_name = {effect.change: effect.difference_min for effect in plan.effects}
    assert by_name["melt -20 K"] < 0.0 < by_name["melt +20 K"]
    assert by_name["dew point -10 K"] < 0.0 < by_name["dew point +10 K"]
    assert by_name["gas flow +25 %"] < 0.0 < by_name["gas flow -20 %"]
    assert by_name["melt -20 %"] < 0.0 < by_name["melt +25 %"]
    assert by_name["rotor speed +10 %, short of a vortex"] < 0.0
    assert all("order of magnitude" in effect.words for effect in plan.effects)


def test_a_quarter_more_melt_takes_a_quarter_more_minutes() -> None:
    plan = plan_treatment(0.28, SETTING, LOW, FITTED)
    more = next(effect for effect in plan.effects if effect.change == "melt +25 %")
    assert more.minutes_median == pytest.approx(1.25 * plan.minutes_median, rel=1e-9)


def test_course_falls_from_the_reading_to_the_target() -> None:
    plan = plan_treatment(0.28, SETTING, LOW, FITTED)
    course = plan.course
    assert course.median[0] == pytest.approx(0.28, abs=0.002)
    assert np.all(np.diff(course.median) < 0.0)
    assert np.interp(plan.minutes_median, course.minutes, course.median) == pytest.approx(0.10, abs=0.002)
    assert all(low < middle < high for low, middle, high in zip(course.p10, course.median, course.p90, strict=True))


def test_a_melt_that_meets_its_target_needs_no_minutes() -> None:
    plan = plan_treatment(0.07, SETTING, LOW, FITTED)
    assert plan.minutes_sure == 0.0
    assert plan.words.startswith("The melt meets 0.1 ml/100 g now")
    assert plan.second_opinion is not None and plan.second_opinion.minutes == 0.0


def test_an_unreachable_target_has_no_minutes_and_no_opinion() -> None:
    plan = plan_treatment(0.28, SETTING, MeltTarget(hydrogen_ml_100g=0.05), FITTED)
    assert np.isinf(plan.minutes_median) and plan.probability_reachable < 0.5
    assert plan.second_opinion is None
    assert "cannot be reached" in plan.words


def test_humid_air_raises_the_default_floor_and_shortens_the_hold() -> None:
    dry, humid = (plan_treatment(0.28, Setting("A356", 720.0, air=air)) for air in (Air(10.0, 40.0), Air(32.0, 85.0)))
    assert humid.kinetics.floor_ml_100g > dry.kinetics.floor_ml_100g
    assert humid.minutes_sure > dry.minutes_sure
    assert humid.holds_sure_min < dry.holds_sure_min


def test_cautions_of_melt_and_additions_go_with_every_plan() -> None:
    text = " ".join(plan_treatment(0.28, SETTING, LOW).cautions)
    assert "never shorten a hold" in text and "Magnesium is flammable" in text and "Strontium" in text


@pytest.mark.parametrize(
    ("hydrogen", "setting", "place"),
    [
        (28.0, SETTING, "hydrogen_ml_100g"),
        (0.28, Setting("A356", 1330.0), "melt_temp_c"),
        (0.28, Setting("A356", 720.0, -5.0), "melt_kg"),
        (0.28, Setting("A356", 720.0, 500.0, 0.0), "gas_flow_nl_min"),
        (0.28, Setting("A356", 720.0, air=Air(25.0, 0.6)), "relative_humidity_pct"),
        (0.28, Setting("brass", 720.0), "brass"),
    ],
)
def test_bad_entries_are_named(hydrogen: float, setting: Setting, place: str) -> None:
    with pytest.raises(InputError, match=place):
        plan_treatment(hydrogen, setting)
