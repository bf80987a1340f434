"""One line of the validation table, in the words of V&V 20: E = S - D beside the uncertainties of both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

# Safety factors of the grid convergence index: three grids that converge as they should, and anything else.
SURE, UNSURE = 1.25, 3.0


@dataclass(frozen=True, slots=True)
class Row:
    """One comparison.

    Attributes
    ----------
    topic, subject, id : str
        Where it stands: part of castq, relation or problem, and name of the line.
    s, d : float
        What castq gives and what the source gives, in `unit`.
    allowed : float
        Largest difference at which the line is met.
    u_num, u_input, u_d : float
        Uncertainty of S by its numbers and by its inputs, and of D.
    kind, source, provenance : str
        What kind of source it is, its name, and how it was taken.
    unit, note : str
        Unit, and what the reader should know.
    count : int
        Values behind the line; the one nearest to its limit is shown.
    """

    topic: str
    subject: str
    id: str
    s: float
    d: float
    allowed: float
    u_num: float = 0.0
    u_input: float = 0.0
    u_d: float = 0.0
    kind: str = "closed form"
    source: str = ""
    provenance: str = "derived"
    unit: str = ""
    note: str = ""
    count: int = 1

    @property
    def e(self) -> float:
        """Difference S - D."""
        same = self.s == self.d or (np.isnan(self.s) and np.isnan(self.d))
        return 0.0 if same else self.s - self.d

    @property
    def u_val(self) -> float:
        """Uncertainty of the comparison."""
        return float(np.sqrt(self.u_num**2 + self.u_input**2 + self.u_d**2))

    @property
    def met(self) -> bool:
        """Whether the difference is no larger than allowed."""
        return bool(abs(self.e) <= self.allowed * (1.0 + 1e-9) + 1e-300)

    @property
    def word(self) -> str:
        """The verdict in a word."""
        return "met" if self.met else "MISSED"


def grid_error(values: Sequence[float], ratio: float = 2.0, formal: float = 2.0) -> tuple[float, str]:
    """Return the grid convergence index of the finest value, in its unit, and how it was come by.

    Parameters
    ----------
    values : sequence of float
        From the coarsest grid to the finest, two or three.
    ratio : float
        Ratio of neighbouring cell sizes [-].
    formal : float
        Order that the scheme has; the observed one counts no higher [-].

    Returns
    -------
    tuple of float, str
        Half width, and words.
    """
    last = abs(values[-1] - values[-2])
    if len(values) < 3:
        return UNSURE * last / (ratio - 1.0), "two grids, order 1 assumed"
    before = abs(values[-2] - values[-3])
    if last == 0.0:
        return 0.0, "no change"
    observed = float(np.log(before / last) / np.log(ratio)) if before > 0.0 else 0.0
    steady = (values[-1] - values[-2]) * (values[-2] - values[-3]) > 0.0
    if not steady or not 0.5 <= observed <= formal + 0.5:
        return UNSURE * last / (ratio - 1.0), f"observed order {observed:.2f}: not asymptotic, order 1 assumed"
    used = min(observed, formal)
    return SURE * last / (ratio**used - 1.0), f"observed order {observed:.2f}"
