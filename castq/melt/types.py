"""What the melt desk works on: samples, treatments, additions, air, target and kinetics.

The records refuse only what cannot be; whether a value is plausible, and how to mend it, `castq.melt.checks` says.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from castq.core.errors import input_error

When = Literal["before treatment", "after treatment", "holding", ""]
AdditionKind = Literal["strontium", "refiner", "magnesium", "metal", "other"]
Answer = Literal["cast", "degas", "hold and resample", "cannot reach"]


def _refuse_below(record: str, values: Mapping[str, float | None], low: float, *, including: bool) -> None:
    """Refuse a number that is not finite, below a limit or, when `including`, equal to it."""
    for name, value in values.items():
        if value is not None and (not math.isfinite(value) or value < low or (including and value == low)):
            words = "above" if including else "at least"
            raise input_error(record, name, f"{value:g} cannot be", f"a number {words} {low:g}", "check the value")


@dataclass(frozen=True, slots=True)
class DensityPair:
    """Reduced-pressure test: two samples of one melt, frozen at atmospheric and at the test pressure.

    Attributes
    ----------
    in_air_g_cm3 : float
        Density of the sample frozen at 1 atm [g/cm3].
    in_vacuum_g_cm3 : float
        Density of the sample frozen at the test pressure [g/cm3].
    test_pressure_mbar : float
        Absolute pressure over the second sample [mbar].
    """

    in_air_g_cm3: float
    in_vacuum_g_cm3: float
    test_pressure_mbar: float

    def __post_init__(self) -> None:
        values = {name: getattr(self, name) for name in self.__slots__}
        _refuse_below("density pair", values, 0.0, including=True)


@dataclass(frozen=True, slots=True)
class HydrogenReading:
    """Reading of a hydrogen instrument.

    Attributes
    ----------
    hydrogen_ml_100g : float
        Hydrogen as shown [ml/100g].
    one_sigma_ml_100g : float or None
        Standard deviation that the maker or the plant states [ml/100g]; none for the default.
    alloy_factor : float or None
        Alloy factor set in the instrument [-]; none when it is not known.
    """

    hydrogen_ml_100g: float
    one_sigma_ml_100g: float | None = None
    alloy_factor: float | None = None

    def __post_init__(self) -> None:
        _refuse_below("hydrogen reading", {"hydrogen_ml_100g": self.hydrogen_ml_100g}, 0.0, including=False)
        more = {"one_sigma_ml_100g": self.one_sigma_ml_100g, "alloy_factor": self.alloy_factor}
        _refuse_below("hydrogen reading", more, 0.0, including=True)


@dataclass(frozen=True, slots=True)
class Sample:
    """What was taken from a furnace at one time: density pairs, hydrogen readings, or both.

    Attributes
    ----------
    taken_at : datetime
        When, with its time zone.
    furnace, alloy : str
        Names of furnace and alloy.
    melt_temp_c : float
        Melt temperature [degC].
    pairs : tuple of DensityPair
        Reduced-pressure tests.
    readings : tuple of HydrogenReading
        Readings of a hydrogen instrument.
    sampled_by : str
        Who took it.
    after : When
        Place in the work: before or after treatment, in holding, or empty when not noted.
    note : str
        Remark.
    """

    taken_at: datetime
    furnace: str
    alloy: str
    melt_temp_c: float
    pairs: tuple[DensityPair, ...] = ()
    readings: tuple[HydrogenReading, ...] = ()
    sampled_by: str = ""
    after: When = ""
    note: str = ""

    def __post_init__(self) -> None:
        _refuse_below("sample", {"melt_temp_c": self.melt_temp_c}, -273.15, including=True)


@dataclass(frozen=True, slots=True)
class Air:
    """Air at the furnace mouth: temperature and one measure of its dampness.

    Attributes
    ----------
    air_temp_c : float
        Air temperature [degC].
    relative_humidity_pct : float or None
        Relative humidity [%].
    dew_point_c : float or None
        Dew point [degC].
    """

    air_temp_c: float
    relative_humidity_pct: float | None = None
    dew_point_c: float | None = None

    def __post_init__(self) -> None:
        temperatures = {"air_temp_c": self.air_temp_c, "dew_point_c": self.dew_point_c}
        _refuse_below("air", temperatures, -273.15, including=True)
        _refuse_below("air", {"relative_humidity_pct": self.relative_humidity_pct}, 0.0, including=False)


@dataclass(frozen=True, slots=True)
class Treatment:
    """One degassing treatment.

    Attributes
    ----------
    furnace : str
        Furnace or ladle.
    started_at : datetime
        When it began, with its time zone.
    minutes : float
        How long it ran [min].
    rotor : str
        Rotor or lance.
    gas : str
        Purge gas.
    gas_flow_nl_min : float or None
        Gas flow at 0 degC and 1 atm [l/min].
    speed_rpm : float or None
        Rotor speed [1/min].
    melt_kg : float or None
        Melt treated [kg].
    """

    furnace: str
    started_at: datetime
    minutes: float
    rotor: str = ""
    gas: str = "argon"
    gas_flow_nl_min: float | None = None
    speed_rpm: float | None = None
    melt_kg: float | None = None

    def __post_init__(self) -> None:
        zero_or_more = {"minutes": self.minutes, "speed_rpm": self.speed_rpm, "gas_flow_nl_min": self.gas_flow_nl_min}
        _refuse_below("treatment", zero_or_more, 0.0, including=False)
        _refuse_below("treatment", {"melt_kg": self.melt_kg}, 0.0, including=True)


@dataclass(frozen=True, slots=True)
class Addition:
    """Something added to a melt.

    Attributes
    ----------
    at : datetime
        When, with its time zone.
    furnace : str
        Furnace or ladle.
    kind : AdditionKind
        What was added.
    amount_kg : float
        How much [kg].
    reaches : float or None
        Content that the melt reaches: strontium [ppm], refiner and magnesium [wt%]; none when not known.
    """

    at: datetime
    furnace: str
    kind: AdditionKind
    amount_kg: float
    reaches: float | None

    def __post_init__(self) -> None:
        _refuse_below("addition", {"amount_kg": self.amount_kg, "reaches": self.reaches}, 0.0, including=False)


@dataclass(frozen=True, slots=True)
class MeltTarget:
    """What the melt must meet before it may be poured.

    Attributes
    ----------
    hydrogen_ml_100g : float
        Highest hydrogen [ml/100g].
    density_index_pct : float or None
        Highest mean density index [%]; none when the plant has set no limit.
    density_index_pressure_mbar : float
        Test pressure for which that limit was set [mbar].
    sure : float
        Certainty asked for [-].
    """

    hydrogen_ml_100g: float = 0.12
    density_index_pct: float | None = None
    density_index_pressure_mbar: float = 80.0
    sure: float = 0.95

    def __post_init__(self) -> None:
        values = {name: getattr(self, name) for name in self.__slots__}
        _refuse_below("target", values, 0.0, including=True)
        if self.sure >= 1.0:
            raise input_error("target", "sure", f"{self.sure:g} cannot be", "a share below 1", "write 0.95 for 95 %")


@dataclass(frozen=True, slots=True)
class Kinetics:
    """How fast a furnace with its rotor takes hydrogen out, how far, and how fast the melt takes it back.

    Attributes
    ----------
    rate_per_min : float
        Median rate of hydrogen removal of one treatment [1/min].
    rate_log_sigma : float
        Standard deviation of the logarithm of the rate of the next treatment: of the typical rate and of the spread
        between treatments together [-].
    floor_ml_100g : float
        Level below which treating longer does not go [ml/100g].
    floor_sigma_ml_100g : float
        Its standard deviation [ml/100g].
    pick_up_per_min : float
        Rate at which the held melt goes to the level of the air [1/min].
    name : str
        Name of the calibration; empty for the labelled defaults.
    points : int
        Hydrogen values it was learnt from; 0 for the defaults.
    rate_floor_correlation : float
        Correlation of the logarithm of the rate with the floor [-].
    pick_up_log_sigma : float
        Standard deviation of the logarithm of the pick-up rate [-].
    treatment_log_sigma : float
        Part of `rate_log_sigma` that is spread between treatments [-].
    furnace, rotor : str
        What it belongs to; empty for the defaults.
    """

    rate_per_min: float
    rate_log_sigma: float
    floor_ml_100g: float
    floor_sigma_ml_100g: float
    pick_up_per_min: float
    name: str = ""
    points: int = 0
    rate_floor_correlation: float = 0.0
    pick_up_log_sigma: float = 0.55
    treatment_log_sigma: float = 0.18
    furnace: str = ""
    rotor: str = ""

    def __post_init__(self) -> None:
        _refuse_below("kinetics", {"rate_per_min": self.rate_per_min}, 0.0, including=True)
        rest = ("rate_log_sigma", "floor_ml_100g", "floor_sigma_ml_100g", "pick_up_per_min", "pick_up_log_sigma",
                "treatment_log_sigma", "points")  # fmt: skip
        _refuse_below("kinetics", {name: getattr(self, name) for name in rest}, 0.0, including=False)
        if not abs(self.rate_floor_correlation) <= 1.0:
            raise input_error("kinetics", "rate_floor_correlation", "lies outside -1 to 1", "", "check the calibration")


@dataclass(frozen=True, slots=True)
class Interval:
    """A quantity with its spread: median, and the values with 10 % below and 10 % above."""

    median: float
    p10: float
    p90: float


@dataclass(frozen=True, slots=True)
class Clock:
    """Until when something of the melt stays good.

    Attributes
    ----------
    kind : str
        `hydrogen`, `strontium` or `refiner`.
    minutes_median : float
        Minutes until the limit is as likely passed as not; infinite when it is never passed [min].
    minutes_sure : float
        Minutes for which it is good with the certainty asked for [min].
    starts_at : datetime
        From when the minutes count.
    good_until : datetime or None
        `starts_at` and `minutes_sure`; none when the limit is never passed.
    words : str
        One plain sentence.
    """

    kind: str
    minutes_median: float
    minutes_sure: float
    starts_at: datetime
    good_until: datetime | None
    words: str


@dataclass(frozen=True, slots=True)
class Judgement:
    """The answer to a sample.

    Attributes
    ----------
    answer : Answer
        What to do.
    words : str
        The answer in one plain sentence.
    hydrogen_ml_100g : Interval
        Hydrogen of the melt now [ml/100g].
    hydrogen_is_equivalent : bool
        True when it rests on density indices alone: an equivalent, not a measurement.
    density_index_pct : Interval or None
        Mean density index; p10 and p90 are those of the mean [%].
    density_index_proven_below_pct : float or None
        Density index that the mean stays below with the certainty asked for [%].
    density_index_bound_pct : float or None
        Highest density index that hydrogen can make here [%].
    bad_sample : bool
        True when the density index lies above that bound.
    bad_sample_why : str
        The reason in words.
    minutes_median, minutes_sure : float
        Further minutes of degassing, even odds and with the certainty asked for; infinite when none is enough [min].
    probability_ok : float
        Probability that the melt meets its target now [-].
    samples_needed : int or None
        Further samples that would decide if they come out as those so far; none when no number would.
    reasons, what_helps : tuple of str
        Why, and what would help.
    cautions : tuple of str
        What goes with the answer.
    relations_used, defaults_used : tuple of str
        Ids of the relations, and the defaults in words.
    clocks : tuple of Clock
        Until when the melt stays good.
    good_until : datetime or None
        Until when hydrogen stays below target with the certainty asked for; none when no end is in sight or the
        melt is not good now.
    """

    answer: Answer
    words: str
    hydrogen_ml_100g: Interval
    hydrogen_is_equivalent: bool
    density_index_pct: Interval | None
    density_index_proven_below_pct: float | None
    density_index_bound_pct: float | None
    bad_sample: bool
    bad_sample_why: str
    minutes_median: float
    minutes_sure: float
    probability_ok: float
    samples_needed: int | None
    reasons: tuple[str, ...]
    what_helps: tuple[str, ...]
    cautions: tuple[str, ...]
    relations_used: tuple[str, ...]
    defaults_used: tuple[str, ...]
    clocks: tuple[Clock, ...]
    good_until: datetime | None
