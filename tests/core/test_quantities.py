"""The unit table: known conversions, refusals, and the same value through every unit."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from castq.core.errors import InputError
from castq.core.quantities import KINDS, PPM_PER_ML_100G, parse_number, parse_quantity

# NIST SP 811 (2008) appendix B conversion factors, from memory, unless the row says otherwise.
KNOWN = [
    ("length_mm", "1 in", 25.4),
    ("length_mm", "0,5 m", 500.0),
    ("length_um", "6 mil", 152.4),
    ("temperature_c", "1300 degF", 704.444444444),
    ("temperature_c", "973.15 K", 700.0),
    ("temperature_c", "705 °C", 705.0),
    ("temperature_step_k", "18 degF", 10.0),
    ("pressure_bar", "1 atm", 1.01325),
    ("pressure_bar", "14.5037738 psi", 1.0),
    ("pressure_bar", "760 mmHg", 1.01325),
    ("pressure_bar", "80 mbar", 0.08),
    ("density_g_cm3", "2650 kg/m3", 2.65),
    ("stress_mpa", "30 ksi", 206.84271),
    ("mass_kg", "1 lb", 0.45359237),
    ("time_s", "4 min", 240.0),
    ("heat_transfer_w_m2k", "1.5 kW/m2K", 1500.0),
    ("volume_cm3", "0.42 l", 420.0),
    ("mass_fraction_wt_pct", "350 ppm", 0.035),
    ("percent", "4,5 %", 4.5),
    # 1 ml STP of H2 per 100 g is 0.899 ppm by mass (0.0899 g/l, handbook gas density, from memory)
    ("hydrogen_ml_100g", "0.0899 ppm", 0.1),
]


@pytest.mark.parametrize(("kind", "text", "expected"), KNOWN)
def test_known_conversions(kind: str, text: str, expected: float) -> None:
    assert parse_quantity(text, kind) == pytest.approx(expected, rel=1e-3 if "hydrogen" in kind else 2e-7)


def test_hydrogen_conversion_factor_is_the_gas_density() -> None:
    # density of hydrogen at 273.15 K and 1 atm: 0.08988 g/l (handbook value, from memory)
    assert pytest.approx(0.8988, rel=1e-3) == PPM_PER_ML_100G


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_a_bare_number_is_refused_with_an_example(kind: str) -> None:
    for bare in (12, 12.0, "12", True, None, ["12 mm"]):
        with pytest.raises(InputError) as caught:
            parse_quantity(bare, kind, "case.toml", "process.melt_temp")
        message = str(caught.value)
        assert "case.toml, process.melt_temp" in message
        assert KINDS[kind].example in message
        assert "\n" not in message


@pytest.mark.parametrize("kind", sorted(KINDS))
@given(value=st.floats(0.001, 1e5))
def test_every_unit_of_a_kind_gives_the_same_value(kind: str, value: float) -> None:
    for name, unit in KINDS[kind].units.items():
        written = f"{value / unit.factor - unit.shift!r} {name}"
        if len(written) <= 60 and "e" not in written.split()[0]:
            assert parse_quantity(written, kind) == pytest.approx(value, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(
    "text",
    [
        "1,234",
        "1.234,5",
        "1,2,3",
        "nan",
        "inf",
        "1e999",
        "0x10",
        "1_000",
        "--3",
        "3-",
        "−3",
        "１２",
        "",
        "5" * 100,
        "1 2",
    ],
)
def test_numbers_that_are_not_one_clear_number_are_refused(text: str) -> None:
    with pytest.raises(InputError):
        parse_number(text)


@pytest.mark.parametrize(
    ("text", "expected"), [("4,5", 4.5), ("0,125", 0.125), ("-1,25e2", -125.0), (",5", 0.5), ("+3.", 3.0)]
)
def test_decimal_comma_is_read_where_it_is_unambiguous(text: str, expected: float) -> None:
    assert math.isclose(parse_number(text), expected)


def test_unknown_unit_names_the_nearest() -> None:
    with pytest.raises(InputError, match="did you mean mm"):
        parse_quantity("12 mmm", "length_mm")
