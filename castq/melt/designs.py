"""What the desk keeps of a screened design: enough to hold any melt against it later, without solving it again."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Levels of the quantiles: 0, 1, ... 100 %.
LEVELS: Final = 101


@dataclass(frozen=True, slots=True)
class KeptZone:
    """One zone of a kept design with one limit on its porosity.

    Attributes
    ----------
    zone, role : str
        The zone.
    quantity : str
        What is limited: `porosity_pct` or `gas_porosity_pct`.
    limit_pct : float
        The limit [%].
    house_default : bool
        True when it is castq's house default.
    shrinkage_alone : float
        Share of the draws in which shrinkage alone exceeds the limit [-].
    quantiles_ml_100g : tuple of float
        Highest hydrogen at which the limit is met, at 0, 1, ... 100 % of the draws [ml/100g]; 0 where none would do,
        empty when the zone is not decided.
    undecided : str
        Why nothing is said about this zone; empty when something is.
    """

    zone: str
    role: str
    quantity: str
    limit_pct: float
    house_default: bool
    shrinkage_alone: float
    quantiles_ml_100g: tuple[float, ...]
    undecided: str = ""

    def stands(self, sure: float) -> float:
        """Return the highest hydrogen at which the zone meets its limit with a probability; NaN when not decided.

        Parameters
        ----------
        sure : float
            Probability [-].

        Returns
        -------
        float
            Hydrogen [ml/100g]; 0 where none would do.
        """
        return _at(self.quantiles_ml_100g, sure)


@dataclass(frozen=True, slots=True)
class KeptDesign:
    """A screened design as the library keeps it.

    Attributes
    ----------
    name, alloy : str
        Name of the case, and id of its alloy.
    kept_at : datetime
        When it was kept, with its time zone.
    castq_version : str
        Version that screened it.
    depth : str
        `section` or `solid`.
    verdict : str
        Verdict of its screening, over all limits.
    seed, draws : int
        Seed and number of the draws.
    hydrogen_ml_100g, strontium_ppm, cleanliness : float
        Melt that it was screened with [ml/100g], [ppm], [-].
    inputs_sha256 : str
        Hash of everything that went into the screening.
    reaches_ml_100g : float
        End of the range of the porosity estimate [ml/100g].
    quantiles_ml_100g : tuple of float
        Highest hydrogen at which every decided zone meets its limits, at 0, 1, ... 100 % of the draws [ml/100g]; empty
        when no zone is decided.
    deciding : tuple of int
        Place in `zones` of the zone that decides at each of these levels; -1 where the estimate reaches no further.
    zones : tuple of KeptZone
        Zones with a limit on porosity.
    calibration : str
        Name of the plant's calibration; empty for the defaults.
    file : str
        Name of the file it was read from; empty when it was not.
    """

    name: str
    alloy: str
    kept_at: datetime
    castq_version: str
    depth: str
    verdict: str
    seed: int
    draws: int
    hydrogen_ml_100g: float
    strontium_ppm: float
    cleanliness: float
    inputs_sha256: str
    reaches_ml_100g: float
    quantiles_ml_100g: tuple[float, ...]
    deciding: tuple[int, ...]
    zones: tuple[KeptZone, ...]
    calibration: str = ""
    file: str = ""

    def stands(self, sure: float) -> float:
        """Return the highest hydrogen at which every decided zone meets its limits with a probability [ml/100g].

        Parameters
        ----------
        sure : float
            Probability [-].

        Returns
        -------
        float
            Hydrogen [ml/100g]; 0 where none would do, NaN where no zone is decided.
        """
        return _at(self.quantiles_ml_100g, sure)

    @property
    def shrinkage_alone(self) -> float:
        """Share of the draws in which shrinkage alone exceeds the limit of some zone, to one level [-]."""
        return max(sum(value == 0.0 for value in self.quantiles_ml_100g) - 1, 0) / (LEVELS - 1)

    def decides(self, sure: float) -> KeptZone | None:
        """Return the zone that decides at a probability.

        Parameters
        ----------
        sure : float
            Probability [-].

        Returns
        -------
        KeptZone or None
            None where the estimate reaches no further or no zone is decided.
        """
        place = self.deciding[level_of(sure)] if self.deciding else -1
        return self.zones[place] if place >= 0 else None


def level_of(sure: float) -> int:
    """Return the place of the quantile that at least a share of the draws reaches; between two, the lower one."""
    return max(0, math.floor((LEVELS - 1) * (1.0 - sure) + 1e-9))


def _at(quantiles_ml_100g: tuple[float, ...], sure: float) -> float:
    return quantiles_ml_100g[level_of(sure)] if quantiles_ml_100g else math.nan


def share_met(quantiles_ml_100g: tuple[float, ...], hydrogen_ml_100g: Array) -> Array:
    """Return for each hydrogen the share of a design's draws that stand it.

    Parameters
    ----------
    quantiles_ml_100g : tuple of float
        Highest hydrogen at 0, 1, ... 100 % of the draws [ml/100g].
    hydrogen_ml_100g : array (n,)
        Hydrogen, above nought [ml/100g].

    Returns
    -------
    array (n,)
        Share [-], within half a level.
    """
    below = np.searchsorted(np.asarray(quantiles_ml_100g), hydrogen_ml_100g, side="left")
    share = (below - 0.5) / (LEVELS - 1)
    return 1.0 - np.where(below == 0, 0.0, np.where(below == LEVELS, 1.0, np.clip(share, 0.0, 1.0)))
