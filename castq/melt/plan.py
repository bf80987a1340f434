"""Plan a treatment: minutes to a target, the purge gas model as second opinion, and what each setting would change."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from castq.core.cautions import cautions_for
from castq.core.errors import Fault, InputError, input_error
from castq.core.relation import trace
from castq.core.sampling import Draws
from castq.materials import alloy as find_alloy
from castq.melt import defaults
from castq.melt.checks import check_air, melt_temp_faults
from castq.melt.engine import air_draws, kinetics_draws, melt_draws, upper_quantile
from castq.melt.evidence import reading_sigma
from castq.melt.plan_effects import Effect, changes
from castq.melt.types import Air, Kinetics, MeltTarget
from castq.physics.degassing import hydrogen_after, minutes_to_limit, minutes_to_target, practical_floor
from castq.physics.hydrogen import alloy_factor, solubility_talbot_anyalebechi
from castq.physics.purge_gas import (
    balanced_minutes,
    gas_need,
    purge_gas_minutes,
    purge_gas_saturation,
    transfer_hydrogen,
)

Array = NDArray[np.float64]
_DRAWS = 4096
_CURVE_POINTS = 61
_LONGEST_MIN = 120.0
# psi/H below which diffusion controls, and above which the gas does.
_DIFFUSION_END = 0.1
_GAS_START = 1.0


@dataclass(frozen=True, slots=True)
class Setting:
    """Where a treatment is done.

    Attributes
    ----------
    alloy : str
        Alloy.
    melt_temp_c : float
        Melt temperature [degC].
    melt_kg : float or None
        Melt [kg].
    gas_flow_nl_min : float or None
        Gas flow at 0 degC and 1 atm [l/min].
    air : Air or None
        Air at the furnace mouth; none for the labelled default.
    """

    alloy: str
    melt_temp_c: float
    melt_kg: float | None = None
    gas_flow_nl_min: float | None = None
    air: Air | None = None


@dataclass(frozen=True, slots=True)
class SecondOpinion:
    """The purge gas model beside the first-order one.

    Attributes
    ----------
    minutes : float
        Minutes to the target by the model [min].
    diffusion_minutes, gas_minutes : float
        Its two limits: diffusion in the metal alone, and gas that leaves in balance [min].
    controls : str
        What holds the treatment back, in words.
    used_at_start, used_at_target : float
        Share of what the gas could carry that it does carry [-].
    gas_nl : float
        Purge gas of the whole treatment at 0 degC and 1 atm [l].
    gas_need : float
        Least litres of gas for a litre of hydrogen at the target [-].
    """

    minutes: float
    diffusion_minutes: float
    gas_minutes: float
    controls: str
    used_at_start: float
    used_at_target: float
    gas_nl: float
    gas_need: float


@dataclass(frozen=True, slots=True)
class Course:
    """Hydrogen over the minutes of the treatment, each with one value a time: median, p10, p90 [ml/100g]."""

    minutes: tuple[float, ...]
    median: tuple[float, ...]
    p10: tuple[float, ...]
    p90: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class TreatmentPlan:
    """A planned treatment.

    Attributes
    ----------
    words : str
        The plan in one plain sentence.
    minutes_median, minutes_sure : float
        Minutes to the target, even odds and with the certainty asked for; infinite when none is enough [min].
    probability_reachable : float
        Probability that the target lies above the floor [-].
    kinetics : Kinetics
        What it rests on.
    air_ml_100g : float
        Level that the melt goes to under its air [ml/100g].
    second_opinion : SecondOpinion or None
        None when melt or gas flow are not given, or the target cannot be reached.
    course : Course
        Hydrogen over time.
    effects : tuple of Effect
        What a change of each setting would do.
    holds_median_min, holds_sure_min : float
        How long a melt that has met its target after the sure minutes stays below it when held quiet [min].
    cautions, relations_used, defaults_used : tuple of str
        What goes with it.
    """

    words: str
    minutes_median: float
    minutes_sure: float
    probability_reachable: float
    kinetics: Kinetics
    air_ml_100g: float
    second_opinion: SecondOpinion | None
    course: Course
    effects: tuple[Effect, ...]
    holds_median_min: float
    holds_sure_min: float
    cautions: tuple[str, ...]
    relations_used: tuple[str, ...]
    defaults_used: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Start:
    """Draws of hydrogen at the start [ml/100g], and its middle."""

    draws: Array
    middle: float


def plan_treatment(
    hydrogen_ml_100g: float,
    setting: Setting,
    target: MeltTarget | None = None,
    kinetics: Kinetics | None = None,
    *,
    one_sigma_ml_100g: float | None = None,
    seed: int = 1,
) -> TreatmentPlan:
    """Plan a degassing treatment.

    Parameters
    ----------
    hydrogen_ml_100g : float
        Hydrogen now [ml/100g].
    setting : Setting
        Alloy, temperature, melt, gas and air.
    target : MeltTarget or None
        What the melt must meet; none for 0.12 ml/100g with 95 % certainty.
    kinetics : Kinetics or None
        Calibration of furnace and rotor; none for the labelled defaults.
    one_sigma_ml_100g : float or None
        Standard deviation of the hydrogen now [ml/100g]; none for that of one reading.
    seed : int
        Seed of the draws.

    Returns
    -------
    TreatmentPlan
        Minutes, second opinion, effects and cautions.

    Raises
    ------
    InputError
        If an entry cannot be meant as it stands.
    """
    _check(hydrogen_ml_100g, setting)
    wanted = target or MeltTarget()
    with trace() as used:
        level = defaults.air_level(setting.melt_temp_c, setting.air)
        known = kinetics or defaults.default_kinetics(level)
        draws = melt_draws(seed, _DRAWS)
        sigma = one_sigma_ml_100g or float(reading_sigma(np.array(hydrogen_ml_100g)))
        start = _Start(np.maximum(hydrogen_ml_100g + sigma * draws["hydrogen"], 0.005), hydrogen_ml_100g)
        minutes = _minutes(start, wanted, known, draws)
        median, sure = (float(upper_quantile(minutes, share)) for share in (0.5, wanted.sure))
        opinion = _second_opinion(start, setting, wanted, known)
        effects = _effects(start, setting, wanted, known, draws)
        held = _held(start, sure if np.isfinite(sure) else median, wanted, known, draws, level)
    return TreatmentPlan(
        words=_words(median, sure, wanted, known),
        minutes_median=median,
        minutes_sure=sure,
        probability_reachable=float(np.mean(np.isfinite(minutes))),
        kinetics=known,
        air_ml_100g=level,
        second_opinion=opinion,
        course=_course(start, median, sure, known, draws),
        effects=effects,
        holds_median_min=float(upper_quantile(held, 0.5)),
        holds_sure_min=float(upper_quantile(held, 1.0 - wanted.sure)),
        cautions=tuple(dict.fromkeys((*cautions_for("melt"), *cautions_for("additions")))),
        relations_used=tuple(sorted(used.used)),
        defaults_used=_defaults_used(setting, kinetics, one_sigma_ml_100g),
    )


def _check(hydrogen_ml_100g: float, setting: Setting) -> None:
    """Raise what cannot be meant as it stands."""
    faults = melt_temp_faults(setting.melt_temp_c, find_alloy(setting.alloy), "plan")
    if not 0.01 <= hydrogen_ml_100g <= 1.2:
        found = f"{hydrogen_ml_100g:g} ml/100g is out of range"
        faults.append(Fault("plan", "hydrogen_ml_100g", found, "0.01 to 1.2 ml/100g", "check the value and its unit"))
    if faults:
        raise InputError(faults)
    for name, value in (("melt_kg", setting.melt_kg), ("gas_flow_nl_min", setting.gas_flow_nl_min)):
        if value is not None and not value > 0.0:
            raise input_error("plan", name, f"{value:g} cannot be", "a number above 0", "leave it out if not known")
    if setting.air is not None:
        check_air(setting.air)


def _minutes(start: _Start, target: MeltTarget, kinetics: Kinetics, draws: Draws) -> Array:
    rate, floor = kinetics_draws(kinetics, draws)
    return minutes_to_target(start.draws, target.hydrogen_ml_100g, floor, rate)


def _effects(
    start: _Start, setting: Setting, target: MeltTarget, kinetics: Kinetics, draws: Draws
) -> tuple[Effect, ...]:
    """Return what a change of each setting would do to the minutes, with the same draws."""
    level = defaults.air_level(setting.melt_temp_c, setting.air)
    before = float(upper_quantile(_minutes(start, target, kinetics, draws), 0.5))
    effects = []
    for change in changes(setting.melt_temp_c, setting.air):
        shift = float(practical_floor(change.air_ml_100g or level)) - float(practical_floor(level))
        floor = max(kinetics.floor_ml_100g + shift, 0.0)
        changed = replace(kinetics, rate_per_min=kinetics.rate_per_min * change.rate_ratio, floor_ml_100g=floor)
        minutes = _minutes(start, target, changed, draws)
        median, sure = (float(upper_quantile(minutes, share)) for share in (0.5, target.sure))
        both = np.isfinite(median) and np.isfinite(before)
        effects.append(
            Effect(change.name, median, sure, median - before if both else float("nan"), floor, change.words)
        )
    return tuple(effects)


def _second_opinion(start: _Start, setting: Setting, target: MeltTarget, kinetics: Kinetics) -> SecondOpinion | None:
    """Return what the purge gas model says, its diffusion rate being the rate of the first-order one."""
    if setting.melt_kg is None or setting.gas_flow_nl_min is None or target.hydrogen_ml_100g <= kinetics.floor_ml_100g:
        return None
    nominal = find_alloy(setting.alloy).nominal_wt_pct
    factor = alloy_factor(*(nominal.get(name, 0.0) for name in ("Si", "Cu", "Mg")))
    solubility = solubility_talbot_anyalebechi(setting.melt_temp_c) * factor
    gas, rate = setting.gas_flow_nl_min / setting.melt_kg, kinetics.rate_per_min
    way = (start.middle, target.hydrogen_ml_100g, kinetics.floor_ml_100g)
    minutes = float(purge_gas_minutes(*way, rate, gas, solubility))
    psi = transfer_hydrogen(rate, setting.melt_kg, setting.gas_flow_nl_min, solubility)
    ratio = psi / np.array([start.middle, target.hydrogen_ml_100g])
    used = np.square(purge_gas_saturation(ratio))
    return SecondOpinion(
        minutes=minutes,
        diffusion_minutes=float(minutes_to_target(*way, rate)),
        gas_minutes=float(balanced_minutes(*way, gas, solubility)),
        controls=_controls(float(ratio[1])),
        used_at_start=float(used[0]),
        used_at_target=float(used[1]),
        gas_nl=minutes * setting.gas_flow_nl_min,
        gas_need=float(gas_need(target.hydrogen_ml_100g, solubility)),
    )


def _controls(ratio: float) -> str:
    if ratio < _DIFFUSION_END:
        return "diffusion in the metal: finer bubbles help, more gas hardly does"
    if ratio > _GAS_START:
        return "the gas leaves nearly in balance: more gas helps, finer bubbles do not"
    return "diffusion and gas both: finer bubbles and more gas each help in part"


def _course(start: _Start, median: float, sure: float, kinetics: Kinetics, draws: Draws) -> Course:
    """Return hydrogen over the minutes to the sure end, or to twice the middle where there is none."""
    end = sure if np.isfinite(sure) else 2.0 * median if np.isfinite(median) else 30.0
    minutes = np.linspace(0.0, min(max(1.2 * end, 5.0), _LONGEST_MIN), _CURVE_POINTS)
    rate, floor = kinetics_draws(kinetics, draws)
    hydrogen = hydrogen_after(start.draws, floor, rate, minutes[:, None])
    low, middle, high = np.quantile(hydrogen, (0.1, 0.5, 0.9), axis=1)
    return Course(*(tuple(values.tolist()) for values in (minutes, middle, low, high)))


def _held(start: _Start, minutes: float, target: MeltTarget, kinetics: Kinetics, draws: Draws, level: float) -> Array:
    """Return draws of the minutes that the melt stays below target, once it has come there [min]."""
    if not np.isfinite(minutes):
        return np.zeros(1)
    rate, floor = kinetics_draws(kinetics, draws)
    air, pick_up = air_draws(np.array([level]), kinetics, draws)
    treated = hydrogen_after(start.draws, floor, rate, minutes)
    met = treated <= target.hydrogen_ml_100g
    return minutes_to_limit(treated[met], target.hydrogen_ml_100g, air[0][met], pick_up[met])


def _words(median: float, sure: float, target: MeltTarget, kinetics: Kinetics) -> str:
    aim = f"{target.hydrogen_ml_100g:g} ml/100 g"
    if not np.isfinite(median):
        return f"{aim} cannot be reached: degassing ends near {kinetics.floor_ml_100g:.3f} ml/100 g here."
    if sure <= 0.0:
        return f"The melt meets {aim} now, {100 * target.sure:g} % sure: no further treatment is needed for it."
    if not np.isfinite(sure):
        return f"{median:.0f} min for even odds of {aim}; no number of minutes makes it {100 * target.sure:g} % sure."
    return f"{median:.0f} min for even odds of {aim}, {np.ceil(sure):.0f} min to be {100 * target.sure:g} % sure."


def _defaults_used(setting: Setting, kinetics: Kinetics | None, sigma: float | None) -> tuple[str, ...]:
    air = defaults.DEFAULT_AIR
    used = {
        f"Air at the mouth {air.air_temp_c:g} degC, {air.relative_humidity_pct:g} % relative humidity.": setting.air,
        "Rate, floor and their spread: common practice, not this furnace.": kinetics,
        "Scatter of a hydrogen reading 0.01 ml/100 g and 7 %.": sigma,
        "No second opinion, as melt or gas flow is not given.": setting.melt_kg and setting.gas_flow_nl_min,
    }
    return tuple(words for words, given in used.items() if given is None)
