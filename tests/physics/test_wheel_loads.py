"""Wheel-test loads: arithmetic of the conditions, and the words that keep them conditions only."""

from __future__ import annotations

import pytest

from castq.core.relation import REGISTRY
from castq.physics import wheel_loads


def test_moment_is_force_times_arm_times_factor() -> None:
    without_inset = wheel_loads.cornering_moment(600.0, 0.3, 0.0)
    assert without_inset == pytest.approx(600 * 9.80665 * 0.21 * 2.0)
    assert (
        wheel_loads.cornering_moment(600.0, 0.3, -0.02) < without_inset < wheel_loads.cornering_moment(600.0, 0.3, 0.02)
    )


def test_striker_meets_the_rim_at_the_speed_of_free_fall() -> None:
    mass = wheel_loads.impact_striker_mass(600.0)
    speed = (2.0 * wheel_loads.impact_energy(mass) / mass) ** 0.5
    assert speed == pytest.approx(2.124, abs=0.0005)


def test_every_wheel_test_relation_says_that_no_compliance_is_claimed() -> None:
    titles = [entry.title for name, entry in REGISTRY.items() if name.startswith("wheel-") and "transient" not in name]
    cards = [title for title in titles if "test" in title]
    assert len(cards) == 3
    assert all("condition of use only; castq claims no compliance" in title for title in cards)
