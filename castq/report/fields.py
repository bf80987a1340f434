"""How results on the wheel become colours: which fields there are, their words and units, their scales."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from castq.geometry.roles import ROLES
from castq.physics.niyama import NIYAMA_WARN
from castq.screening.columns import BY_NAME
from castq.screening.fields import WheelFields

# Outermost share of the cells left beyond each end of a colour scale, so that one odd cell does not stretch it.
TAIL_PCT = 0.5
# Differences beyond this say nothing, so the colours are kept for what lies below; in the unit of the field.
CEILING: dict[str, float] = {"niyama": 4.0 * NIYAMA_WARN, "feeding_margin": 1.5}
# Results reach this many cells into the void, so that the surface itself is coloured by the metal behind it.
REACH_CELLS = 1.8


@dataclass(frozen=True, slots=True)
class Scale:
    """A colour scale.

    Attributes
    ----------
    name, label, unit : str
        Field, words for the colour bar, and unit as in the zone table.
    better : {"higher", "lower", ""}
        Which way is better; the dark end of the map is always the worse one.
    low, high : float
        Ends of the scale, in the unit of the field.
    below, above : bool
        True when some cells lie beyond that end.
    """

    name: str
    label: str
    unit: str
    better: Literal["higher", "lower", ""]
    low: float
    high: float
    below: bool
    above: bool

    @property
    def reverse(self) -> bool:
        """True when small values are the bad ones, and so get the dark end."""
        return self.better == "higher"


_EXTRA: dict[str, tuple[str, str, Literal["higher", "lower", ""]]] = {
    "wall_mm": ("Equivalent wall", "mm", ""),
    "liquidus_time_s": ("Time to liquidus", "s", ""),
    "coherency_time_s": ("Time to coherency", "s", ""),
    "gradient_k_mm": ("Temperature gradient at nine tenths solid", "K/mm", ""),
    "die_peak_c": ("Peak temperature of the die's face", "degC", ""),
}


def shown_fields(*wheels: WheelFields) -> tuple[str, ...]:
    """Return the fields that all wheels have; risk is left out, because verdicts are shown by zone."""
    return tuple(name for name in wheels[0].fields if name != "risk" and all(name in w.fields for w in wheels))


def describe(name: str) -> tuple[str, str, Literal["higher", "lower", ""]]:
    """Return label, unit and better side of a field, from the zone table's own columns where it has one."""
    if name in _EXTRA:
        return _EXTRA[name]
    if name in BY_NAME:
        column = BY_NAME[name]
        return column.label, column.unit, column.better
    return name.replace("_", " "), "-", ""


def scale_of(name: str, *sources: WheelFields) -> Scale:
    """Return one colour scale that fits a field in all the wheels given, so that equal colours mean equal values."""
    each = [wheel.fields[name][wheel.zone_codes > 0] for wheel in sources]
    known = [values[np.isfinite(values)] for values in each]
    known = [values for values in known if values.size]
    label, unit, better = describe(name)
    if not known:
        return Scale(name, label, unit, better, 0.0, 1.0, False, False)
    low = min(float(np.percentile(values, TAIL_PCT)) for values in known)
    high = max(float(np.percentile(values, 100.0 - TAIL_PCT)) for values in known)
    if high - low < 1e-6 * max(abs(high), 1e-9):
        low, high = low - 0.5 * max(abs(low), 1e-3), high + 0.5 * max(abs(high), 1e-3)
    high = max(min(high, CEILING.get(name, high)), low + 1e-6 * max(abs(low), 1e-9))
    below, above = any(v.min() < low for v in known), any(v.max() > high for v in known)
    return Scale(name, label, unit, better, low, high, below, above)


def nice_ticks(low: float, high: float, count: int = 5) -> list[float]:
    """Return round values inside low .. high, about `count` of them."""
    raw = (high - low) / max(count, 1)
    power = 10.0 ** np.floor(np.log10(raw))
    step = float(next(s for s in (1.0, 2.0, 2.5, 5.0, 10.0) if s * power >= raw * 0.999) * power)
    first = int(np.ceil(low / step - 1e-9))
    last = int(np.floor(high / step + 1e-9))
    return [round(i * step, 12) for i in range(first, last + 1)]


def role_names(codes: NDArray[np.int8]) -> tuple[str, ...]:
    """Return the roles that occur in the codes, in the order of `ROLES`."""
    present = set(np.unique(codes).tolist())
    return tuple(role for i, role in enumerate(ROLES) if i + 1 in present)
