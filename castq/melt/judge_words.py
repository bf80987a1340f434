"""The words of a judgement: the answer in one sentence, why, what would help, and what was assumed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from math import ceil, isfinite

from castq.melt import defaults
from castq.melt.engine import ANSWERS, CANNOT, CAST, DEGAS, Judgements, Surroundings
from castq.melt.evidence import Evidence
from castq.melt.types import Air, Kinetics, MeltTarget, Sample
from castq.physics.damp_air import dew_point, water_saturation_pressure
from castq.physics.degassing import practical_floor

_COOLER_K = 20.0
_DRIER_K = 10.0
_LONG_MIN = 60
_OLD_MIN = 10


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """What one judgement rests on: samples, the last of them, the moment of the answer, target, kinetics, air."""

    samples: tuple[Sample, ...]
    last: Sample
    moment: datetime
    target: MeltTarget
    kinetics: Kinetics
    air: Air | None
    evidence: Evidence
    around: Surroundings

    @property
    def has_reading(self) -> bool:
        """Whether hydrogen was measured."""
        return bool(self.evidence.readings[0] > 0)

    @property
    def by_index(self) -> bool:
        """Whether the density index has a limit and was measured."""
        return self.target.density_index_pct is not None and bool(self.evidence.pairs[0] > 0)

    @property
    def minutes_since(self) -> float:
        """Minutes since the last sample [min]."""
        return float(self.around.minutes_since[0])

    @property
    def aim(self) -> str:
        """What the melt must meet, in words."""
        limits = []
        if self.has_reading or not self.by_index:
            limits.append(f"{self.target.hydrogen_ml_100g:g} ml/100 g")
        if self.by_index:
            limits.append(f"a density index of {self.target.density_index_pct:g} %")
        return " and ".join(limits)


def whole_minutes(minutes: float) -> str:
    """Return minutes in words, rounded up."""
    count = ceil(minutes - 1e-9)
    return f"{count} minute{'' if count == 1 else 's'}"


def say(case: Case, rows: Judgements) -> str:
    """Return the answer in one plain sentence."""
    code, sure = int(rows.answer[0]), f"{100 * case.target.sure:g} % sure"
    odds = float(rows.probability_ok[0])
    if code == CAST:
        return f"Cast: the melt meets {case.aim} ({_percent(odds)} sure)."
    if code == CANNOT:
        return f"Cannot reach {case.aim}: degassing ends near {case.kinetics.floor_ml_100g:.2f} ml/100 g here."
    if code == DEGAS:
        median, certain = float(rows.minutes_median[0]), float(rows.minutes_sure[0])
        if not isfinite(certain):
            return (
                f"Degas {whole_minutes(median)} more, then sample again: even odds of {case.aim}, and no number of "
                f"minutes makes it {sure}."
            )
        if median <= 0.0:
            return (
                f"Degas {whole_minutes(certain)} more to be {sure} of {case.aim}; it may meet it now ({_more(rows)})."
            )
        return f"Degas {whole_minutes(median)} more for even odds of {case.aim}, {whole_minutes(certain)} to be {sure}."
    if rows.bad_sample[0]:
        return "Hold and resample: the density index is higher than hydrogen can make it, oxides or a bad sample."
    return f"Hold and resample: {_percent(odds)} likely to meet {case.aim}, not proven; {_more(rows)}."


def _percent(share: float) -> str:
    """Return a probability in whole percent that never says 100."""
    return f"{min(round(100.0 * share), 99)} %"


def _more(rows: Judgements) -> str:
    needed = float(rows.samples_needed[0])
    if not isfinite(needed):
        return "no sensible number of samples of this kind would decide"
    if needed == 1:
        return "1 more sample that comes out alike would decide"
    return f"{needed:.0f} more samples that come out alike would decide"


def why_bad(rows: Judgements) -> str:
    """Return why a density index is not believed."""
    return (
        f"The density index of {rows.index_pct[0]:.1f} % lies above {rows.index_bound_pct[0]:.1f} %, the most that the "
        "hydrogen here can make at this pressure: oxides, shrinkage in the sample, or a bad sample."
    )


def reasons_for(case: Case, rows: Judgements) -> tuple[str, ...]:
    """Return why the answer is as it is."""
    reasons = []
    hydrogen = f"{rows.hydrogen_median_ml_100g[0]:.3f} ml/100 g"
    spread = f"{rows.hydrogen_p10_ml_100g[0]:.3f} to {rows.hydrogen_p90_ml_100g[0]:.3f}"
    kind = "Hydrogen" if case.has_reading else "Hydrogen-equivalent (not a measurement)"
    reasons.append(f"{kind} now {hydrogen}, 80 % within {spread}.")
    if case.evidence.pairs[0] > 0:
        count = int(case.evidence.pairs[0])
        reasons.append(
            f"Density index {rows.index_pct[0]:.2f} % from {count} pair{'' if count == 1 else 's'}; "
            f"{100 * case.target.sure:g} % sure below {rows.index_proven_below_pct[0]:.2f} %."
        )
        if count == 1 and case.by_index and not rows.bad_sample[0] and int(rows.answer[0]) != CAST:
            reasons.append("One pair near the limit proves nothing: pairs of one melt differ by 20 to 30 %.")
    if case.by_index and not case.has_reading:
        reasons.append("Hydrogen was not measured; the melt is judged by the limit of its density index alone.")
    if case.minutes_since >= _OLD_MIN:
        reasons.append(
            f"The last sample is {case.minutes_since:.0f} min old; pick-up from the air since is counted in."
        )
    if rows.bad_sample[0]:
        reasons.append(why_bad(rows))
    if ANSWERS[rows.answer[0]] == "cannot reach":
        reasons.append(_floor_reason(case))
    if isfinite(rows.minutes_median[0]) and rows.minutes_median[0] > _LONG_MIN:
        reasons.append("More than an hour: look at rotor, gas and lining before you wait for it.")
    return tuple(reasons)


def _floor_reason(case: Case) -> str:
    level = float(case.around.air_ml_100g[0])
    return (
        f"The floor of {case.kinetics.floor_ml_100g:.3f} ± {case.kinetics.floor_sigma_ml_100g:.3f} ml/100 g is not "
        f"below the target; under this air and at {case.last.melt_temp_c:.0f} degC the melt goes to {level:.2f} "
        "ml/100 g."
    )


def help_for(case: Case, rows: Judgements) -> tuple[str, ...]:
    """Return what would help, with numbers."""
    code = int(rows.answer[0])
    if code == CAST:
        return ()
    helps = []
    if not isfinite(float(rows.minutes_sure[0])):
        helps += _lower_floor(case)
    if not case.has_reading:
        helps.append(
            "A direct hydrogen reading: the density index alone leaves ±0.04 ml/100 g, however many pairs there are."
        )
    if not case.has_reading and case.target.density_index_pct is None:
        helps.append("A density index limit of your own for this alloy and furnace (density_index_pct).")
    if case.has_reading and any(r.alloy_factor is None for sample in case.samples for r in sample.readings):
        helps.append("The alloy factor that is set in the instrument: not knowing it leaves 9 % on every reading.")
    if not case.kinetics.name:
        helps.append("Kinetics fitted from this furnace's own points, at least three: the defaults spread by a third.")
    return tuple(helps)


def _lower_floor(case: Case) -> list[str]:
    """Return what a cooler melt and drier air would do to the floor."""
    level, temp_c = float(case.around.air_ml_100g[0]), case.last.melt_temp_c
    vapour = defaults.vapour_of(case.air or defaults.DEFAULT_AIR)
    cooler = defaults.air_level(temp_c - _COOLER_K, case.air)
    drier = level * (float(water_saturation_pressure(dew_point(max(vapour, 0.1)) - _DRIER_K)) / max(vapour, 0.1)) ** 0.5
    now = float(practical_floor(level))
    changes = {
        f"A dew point {_DRIER_K:g} K lower at the furnace mouth": drier,
        f"A melt {_COOLER_K:g} K cooler": cooler,
    }
    return [
        f"{name}: the level of the air falls from {level:.3f} to {to:.3f} ml/100 g, the floor by some "
        f"{now - float(practical_floor(to)):.3f}."
        for name, to in changes.items()
    ]


def defaults_used(case: Case) -> tuple[str, ...]:
    """Return in words what was assumed."""
    used = []
    air, kinetics = defaults.DEFAULT_AIR, case.kinetics
    if case.air is None:
        used.append(
            f"Air at the furnace mouth {air.air_temp_c:g} degC, {air.relative_humidity_pct:g} % relative humidity."
        )
    if not kinetics.name:
        used.append(
            f"Degassing rate {kinetics.rate_per_min:g} per min (factor {1 + kinetics.rate_log_sigma:.2f}), floor "
            f"{kinetics.floor_ml_100g:.3f} ± {kinetics.floor_sigma_ml_100g:g} ml/100 g: common practice."
        )
    readings = [reading for sample in case.samples for reading in sample.readings]
    if any(reading.one_sigma_ml_100g is None for reading in readings):
        used.append("Scatter of a hydrogen reading 0.01 ml/100 g and 7 %.")
    if any(reading.alloy_factor is None for reading in readings):
        used.append("Alloy factor of the instrument not given: 9 % one sigma on all readings alike.")
    if case.evidence.pairs[0] == 1:
        used.append("Scatter between pairs 30 %, at least 0.4 points, as there is one pair only.")
    return tuple(used)
