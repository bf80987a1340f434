"""What no foundry can pour: values of a case that contradict each other or the alloy."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from castq.core.errors import Fault
from castq.materials import Alloy
from castq.screening.types import Limit, Melt, Tool, Treatment

HOTTEST_MELT_C: Final = 850.0
# Above this a wheel melt is out of the ordinary; common practice, no source.
HOT_MELT_C: Final = 760.0
GASSY_ML_100G: Final = 0.6
HOT_DIE_K: Final = 40.0


def check_process(alloy: Alloy, melt: Melt, tool: Tool, source: str) -> Iterator[Fault]:
    """Yield the faults of melt and die temperature.

    Parameters
    ----------
    alloy, melt, tool : Alloy, Melt, Tool
        What is poured into what.
    source : str
        File name, for the message.
    """
    temp, liquidus, end = melt.melt_temp_c, alloy.liquidus_c, alloy.end_of_freezing_c
    as_fahrenheit = (temp - 32.0) / 1.8
    if temp <= liquidus:
        mend = "raise it, or check its unit"
        if liquidus < temp * 1.8 + 32.0 < HOTTEST_MELT_C:
            mend = f"did you mean {temp * 1.8 + 32.0:.0f} degC?"
        yield Fault(
            source, "process.melt_temp", f"{temp:.4g} degC is not above the liquidus of {alloy.id}, {liquidus:g} degC",
            "a liquid melt", mend,
        )  # fmt: skip
    if temp > HOTTEST_MELT_C:
        slip = liquidus < as_fahrenheit < HOTTEST_MELT_C
        mend = f"did you mean {temp:g} degF ({as_fahrenheit:.0f} degC)?" if slip else "check the value and its unit"
        yield Fault(
            source, "process.melt_temp", f"{temp:g} degC is too hot to pour", f"at most {HOTTEST_MELT_C:g} degC", mend
        )
    frozen_never = [role for role, die in tool.die_temp_c.items() if die >= end]
    if frozen_never:
        role = frozen_never[0]
        rest = len(frozen_never) - 1
        who = f"{role} and {rest} more never freeze" if rest else f"{role} never freezes"
        yield Fault(
            source, "process.die_temp", f"{who}: die {tool.die_temp_c[role]:g} degC, "
            f"{alloy.id} is solid at {end:g} degC", f"a die below {end:g} degC", "lower it, or check its unit",
        )  # fmt: skip


def check_treatment(alloy: Alloy, treatment: Treatment, source: str) -> Iterator[Fault]:
    """Yield the faults of the heat treatment."""
    if treatment.solution_temp_c >= alloy.end_of_freezing_c:
        yield Fault(
            source, "heat_treatment.solution_temp",
            f"{treatment.solution_temp_c:g} degC melts the last eutectic of {alloy.id}",
            f"below {alloy.end_of_freezing_c:g} degC", "usual is 535 to 540 degC",
        )  # fmt: skip
    if treatment.solution_temp_c and treatment.ageing_temp_c >= treatment.solution_temp_c:
        yield Fault(
            source, "heat_treatment.ageing_temp", "is not below the solution temperature", "", "exchange the two"
        )


def check_limits(limits: Sequence[Limit], source: str) -> Iterator[Fault]:
    """Yield the faults of limits that no metal can meet together."""
    own = {(limit.role, limit.quantity, limit.operator): limit.value for limit in limits if not limit.house_default}
    for (role, quantity, operator), value in own.items():
        if quantity == "uts_mpa" and value < own.get((role, "ys_mpa", ">="), 0.0):
            yield Fault(
                source, f"limits.{role}.uts_min", "is below ys_min", "tensile above yield strength", "exchange the two"
            )
        if operator == ">=" and value > own.get((role, quantity, "<="), value):
            yield Fault(
                source, f"limits.{role}", f"lower limit of {quantity} is above its upper limit", "", "exchange the two"
            )


def warnings_for(alloy: Alloy, melt: Melt, tool: Tool, treatment: Treatment) -> Iterator[str]:
    """Yield what is possible but out of the ordinary."""
    contents = {
        "Mg": melt.magnesium_wt_pct, "Si": melt.silicon_wt_pct, "Fe": melt.iron_wt_pct, "Cu": melt.copper_wt_pct,
    }  # fmt: skip
    for element, content in contents.items():
        low, high = alloy.composition_wt_pct.get(element, (0.0, 100.0))
        if not low <= content <= high:
            yield f"{element} {content:g} wt% is outside the range of {alloy.id}, {low:g} to {high:g} wt%"
    if melt.hydrogen_ml_100g > GASSY_ML_100G:
        yield f"hydrogen {melt.hydrogen_ml_100g:g} ml/100g is far above what a wheel melt holds; check the reading"
    if melt.melt_temp_c > HOT_MELT_C:
        yield f"melt temperature {melt.melt_temp_c:g} degC is hot for a wheel: more hydrogen, slower freezing"
    if 0.0 < melt.strontium_ppm < 40.0:
        yield f"strontium {melt.strontium_ppm:g} ppm is too little to modify the eutectic"
    if melt.strontium_ppm > 300.0:
        yield f"strontium {melt.strontium_ppm:g} ppm is more than helps, and brings gas"
    hottest = max(tool.die_temp_c.values())
    if hottest > alloy.end_of_freezing_c - HOT_DIE_K:
        yield f"die temperature {hottest:g} degC is close to the end of freezing, {alloy.end_of_freezing_c:g} degC"
    if not alloy.heat_treatable and treatment.temper != "F":
        yield f"{alloy.id} is not age-hardened: it is screened as cast, whatever temper {treatment.temper} says"
