"""The hydrogen that a design stands, draw by draw: for each zone, and for all of them together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Unless another is named, the share of draws that a screening asks for to call it a pass. Common practice, no source.
SURE = 0.90


def met_with(draws: Array, probability: float) -> float:
    """Return the highest hydrogen that at least a share of the draws stands.

    Parameters
    ----------
    draws : array (draws,)
        Highest hydrogen of each draw [ml/100g].
    probability : float
        Share asked for, 0 to 1 [-].

    Returns
    -------
    float
        One of the draws [ml/100g]; NaN where they are not known.
    """
    if np.isnan(draws).any():
        return float("nan")
    # Between two draws the lower one: the share is met, never just missed.
    return float(np.percentile(draws, round(100.0 * (1.0 - probability), 9), method="lower"))


@dataclass(frozen=True, slots=True, eq=False)
class ZoneRoom:
    """Highest hydrogen at which one zone meets one limit.

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
    draws : array (draws,)
        Highest hydrogen in each draw [ml/100g]: 0 where shrinkage alone exceeds the limit, NaN where not decided.
    undecided : str
        Why nothing is said about this zone; empty when something is.
    """

    zone: str
    role: str
    quantity: str
    limit_pct: float
    house_default: bool
    draws: Array
    undecided: str = ""

    @property
    def shrinkage_alone(self) -> float:
        """Share of the draws in which shrinkage alone exceeds the limit, so that no hydrogen would do [-]."""
        return float(np.mean(self.draws == 0.0))

    def at(self, probability: float = SURE) -> float:
        """Return the highest hydrogen at which the zone meets its limit with a probability [ml/100g].

        Parameters
        ----------
        probability : float
            Share of the draws [-].

        Returns
        -------
        float
            Hydrogen [ml/100g]; 0 where none would do, NaN where not decided.
        """
        return met_with(self.draws, probability)


@dataclass(frozen=True, slots=True, eq=False)
class HydrogenRoom:
    """Highest hydrogen at which every zone of a design meets its limits on porosity.

    Attributes
    ----------
    zones : tuple of ZoneRoom
        One for each zone and limit.
    draws : array (draws,)
        Smallest over the decided zones, draw by draw, so that what the zones share stays shared [ml/100g]; NaN when
        no zone is decided.
    reaches_ml_100g : float
        End of the range of the estimate: no draw is given more [ml/100g].
    """

    zones: tuple[ZoneRoom, ...]
    draws: Array
    reaches_ml_100g: float

    @property
    def relations(self) -> tuple[str, ...]:
        """Ids of the relations behind it."""
        return ("hydrogen-limit",) if self.zones else ()

    @property
    def decided(self) -> tuple[ZoneRoom, ...]:
        """The zones of which something is known."""
        return tuple(zone for zone in self.zones if not zone.undecided)

    @property
    def undecided(self) -> tuple[ZoneRoom, ...]:
        """The zones with a limit of which nothing is known."""
        return tuple(zone for zone in self.zones if zone.undecided)

    def at(self, probability: float = SURE) -> float:
        """Return the highest hydrogen at which every decided zone meets its limits with a probability.

        Parameters
        ----------
        probability : float
            Share of the draws [-].

        Returns
        -------
        float
            Hydrogen [ml/100g]; 0 where none would do, NaN where nothing is decided.
        """
        return met_with(self.draws, probability)

    def deciding(self, probabilities: Sequence[float] = (SURE,)) -> tuple[str, ...]:
        """Return for each probability the zone that decides.

        Parameters
        ----------
        probabilities : sequence of float
            Shares of the draws [-].

        Returns
        -------
        tuple of str
            Names of zones: each is most often the smallest in the draws that do not exceed the hydrogen at that
            probability. Empty where the estimate reaches no further or nothing is decided.
        """
        return tuple(self._decides(self.at(probability)) for probability in probabilities)

    def _decides(self, hydrogen_ml_100g: float) -> str:
        zones = self.decided
        if not zones or hydrogen_ml_100g >= self.reaches_ml_100g:
            return ""
        rows = np.stack([zone.draws for zone in zones])
        smallest = (rows == self.draws) & (self.draws <= hydrogen_ml_100g)
        return zones[int(np.argmax(smallest.sum(axis=1)))].zone
