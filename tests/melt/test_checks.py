"""Entries that cannot be meant as they stand: each is named with its field and how to mend it."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from castq.core.errors import Fault, InputError
from castq.melt.checks import (
    check_addition,
    check_air,
    check_order,
    check_samples,
    check_treatment,
    density_of_weights,
    pair_of_densities,
    reading_of,
)
from castq.melt.judge import judge
from castq.melt.types import (
    Addition,
    Air,
    DensityPair,
    HydrogenReading,
    Kinetics,
    MeltTarget,
    Sample,
    Treatment,
)
from tests.melt.melts import NOON, sample

NAIVE = datetime(2026, 7, 1, 12, 0)


def with_pair(in_air: float, in_vacuum: float, pressure: float = 80.0) -> Sample:
    return replace(sample(), pairs=(DensityPair(in_air, in_vacuum, pressure),))


def only_fault(error: pytest.ExceptionInfo[InputError]) -> Fault:
    assert len(error.value.faults) == 1
    return error.value.faults[0]


@pytest.mark.parametrize(
    ("entry", "place", "found", "mend"),
    [
        (with_pair(2.60, 2.66), "in_vacuum_g_cm3", "denser", "swap the two"),
        (with_pair(2660.0, 2.60), "in_air_g_cm3", "looks like kg/m3", "write 2.660"),
        (with_pair(2.80, 2.60), "in_air_g_cm3", "above pore-free metal", "weigh again"),
        (with_pair(2.66, 0.5), "in_vacuum_g_cm3", "too light", "weigh again"),
        (with_pair(2.66, 2.60, 0.08), "test_pressure_mbar", "0.08 mbar", "write 80 if it is in bar"),
        (with_pair(2.66, 2.60, 933.0), "test_pressure_mbar", "933 mbar", "not the vacuum drawn"),
        (sample((2.0,), melt_temp_c=1328.0), "melt_temp_c", "too hot", "1328 degF is 720 degC"),
        (sample((2.0,), melt_temp_c=993.0), "melt_temp_c", "too hot", "993 K is 720 degC"),
        (sample((2.0,), melt_temp_c=72.0), "melt_temp_c", "below the liquidus", "check the thermocouple"),
        (sample((2.0,), melt_temp_c=600.0), "melt_temp_c", "below the liquidus", "check the thermocouple"),
        (sample(readings=(12.0,)), "hydrogen_ml_100g", "out of range", "0.90 ppm"),
        (sample(readings=(0.12,), factor=68.0), "alloy_factor", "68", "leave it out"),
        (sample(), "pairs", "no measurement", "enter one"),
        (sample((2.0,), taken_at=NAIVE), "sample 1, taken_at", "no time zone", "+01:00"),
    ],
)
def test_a_bad_sample_entry_is_named_and_mended(entry: Sample, place: str, found: str, mend: str) -> None:
    with pytest.raises(InputError) as error:
        judge([entry])
    fault = only_fault(error)
    assert fault.place == place
    assert found in fault.found
    assert mend in fault.mend


def test_an_unknown_alloy_is_met_with_the_nearest_names() -> None:
    with pytest.raises(InputError, match="did you mean"):
        judge([sample((2.0,), alloy="AlSi7Mg0,3")])


def test_every_fault_is_told_at_once() -> None:
    entry = replace(with_pair(2660.0, 2600.0), melt_temp_c=1328.0)
    with pytest.raises(InputError) as error:
        check_samples([entry])
    assert {fault.place for fault in error.value.faults} == {"melt_temp_c", "in_air_g_cm3", "in_vacuum_g_cm3"}


def test_samples_of_two_furnaces_or_alloys_are_not_one_melt() -> None:
    with pytest.raises(InputError, match="F1 and F2 are mixed"):
        check_samples([sample((2.0,)), sample((2.0,), furnace="F2")])
    with pytest.raises(InputError, match="are mixed"):
        check_samples([sample((2.0,)), sample((2.0,), alloy="AlSi11")])
    with pytest.raises(InputError, match="there is no sample"):
        check_samples([])


def test_good_entries_pass() -> None:
    check_samples([sample((2.0, 0.0), (0.12,)), with_pair(2.66, 2.665)])
    check_air(Air(25.0, 60.0))
    check_air(Air(25.0, dew_point_c=16.0))
    check_air(Air(-5.0, 0.0))
    check_treatment(Treatment("F1", NOON, 12.0))
    check_addition(Addition(NOON, "F1", "strontium", 1.2, 150.0))
    check_order({"before": NOON, "after": NOON})


@pytest.mark.parametrize(
    ("air", "place", "mend"),
    [
        (Air(25.0, 0.6), "relative_humidity_pct", "write 60 for 60 %"),
        (Air(25.0, 1.0), "relative_humidity_pct", "write 100 for 100 %"),
        (Air(25.0, 160.0), "relative_humidity_pct", "check the value"),
        (Air(77.0, 60.0), "air_temp_c", "77 degF is 25 degC"),
        (Air(20.0, dew_point_c=25.0), "dew_point_c", "check which is which"),
        (Air(20.0), "relative_humidity_pct", "give one of the two"),
    ],
)
def test_air_that_cannot_be_meant_is_mended(air: Air, place: str, mend: str) -> None:
    with pytest.raises(InputError) as error:
        check_air(air)
    fault = only_fault(error)
    assert fault.place == place and mend in fault.mend


def test_a_missing_test_pressure_is_never_assumed() -> None:
    with pytest.raises(InputError, match="test_pressure_mbar: is missing"):
        pair_of_densities(2.66, 2.60, None, "A356")
    assert pair_of_densities(2.66, 2.60, 80.0, "A356") == DensityPair(2.66, 2.60, 80.0)


def test_swapped_weights_are_told_and_right_ones_give_the_density() -> None:
    with pytest.raises(InputError, match="swap the two weights"):
        density_of_weights(50.0, 80.0)
    with pytest.raises(InputError, match="68 degF is 20 degC"):
        density_of_weights(80.0, 50.0, 68.0)
    assert density_of_weights(80.0, 50.1, 20.0) == pytest.approx(2.6688, abs=1e-4)


def test_hydrogen_in_another_unit_is_refused_with_its_value_converted() -> None:
    with pytest.raises(InputError, match=r"write 0\.122 ml/100g"):
        reading_of(0.11, "ppm")
    with pytest.raises(InputError, match="convert it"):
        reading_of(0.11, "bananas")
    assert reading_of(0.12, "cc/100g") == HydrogenReading(0.12)


def test_times_go_forward_and_bear_their_zone() -> None:
    with pytest.raises(InputError, match="lies before sampled"):
        check_order({"sampled": NOON, "treated": NOON - timedelta(minutes=1)})
    with pytest.raises(InputError, match="no time zone"):
        check_order({"sampled": NOON, "treated": NAIVE})
    with pytest.raises(InputError, match=r"now: .* lies before last sample"):
        judge([sample((2.0,))], now=NOON - timedelta(hours=1))
    with pytest.raises(InputError, match="no time zone"):
        judge([sample((2.0,))], now=NAIVE)


def test_treatments_in_seconds_and_additions_in_another_unit_are_told() -> None:
    with pytest.raises(InputError, match="write 12"):
        check_treatment(Treatment("F1", NOON, 720.0))
    with pytest.raises(InputError, match="no time zone"):
        check_treatment(Treatment("F1", NAIVE, 12.0))
    with pytest.raises(InputError, match=r"0\.015 ppm of strontium"):
        check_addition(Addition(NOON, "F1", "strontium", 1.2, 0.015))


@pytest.mark.parametrize(
    "make",
    [
        lambda: DensityPair(2.66, -2.6, 80.0),
        lambda: DensityPair(2.66, 2.6, 0.0),
        lambda: DensityPair(float("nan"), 2.6, 80.0),
        lambda: HydrogenReading(-0.1),
        lambda: HydrogenReading(0.1, 0.0),
        lambda: MeltTarget(hydrogen_ml_100g=0.0),
        lambda: MeltTarget(sure=1.0),
        lambda: Treatment("F1", NOON, -1.0),
        lambda: Addition(NOON, "F1", "other", -1.0, None),
        lambda: Kinetics(0.0, 0.3, 0.06, 0.01, 0.005),
        lambda: Kinetics(0.2, 0.3, 0.06, 0.01, 0.005, rate_floor_correlation=1.5),
        lambda: Air(-300.0, 50.0),
        lambda: sample((2.0,), melt_temp_c=-300.0),
    ],
)
def test_what_cannot_be_is_refused_by_the_record_itself(make) -> None:
    with pytest.raises(InputError):
        make()
