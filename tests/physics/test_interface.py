"""Interface of a coated die: resistances in series, against measured arm spacings."""

from __future__ import annotations

import numpy as np

from castq.physics.interface import contact_coefficient, gap_coefficient


def test_coating_slows_freezing_as_measured_arm_spacings_say() -> None:
    """Low-pressure castings, coat 0 to 300 um: core 17.4 to 28.9 um, edge 14.5 to 21.2 um; time goes with the cube."""
    model = contact_coefficient(0.0) / contact_coefficient(300.0)
    core, edge = (28.9 / 17.4) ** 3, (21.2 / 14.5) ** 3
    assert edge < model < core


def test_resistances_add() -> None:
    coat = np.array([50.0, 100.0, 200.0])
    added = 1.0 / contact_coefficient(coat) - 1.0 / contact_coefficient(0.0)
    np.testing.assert_allclose(added, coat * 1e-6 / 0.35, rtol=1e-12)
    opened = 1.0 / gap_coefficient(contact_coefficient(coat), 100.0) - 1.0 / contact_coefficient(coat)
    np.testing.assert_allclose(opened, 100e-6 / 0.055, rtol=1e-12)


def test_a_wide_gap_hides_the_coating() -> None:
    thin, thick = gap_coefficient(contact_coefficient(np.array([50.0, 300.0])), 200.0)
    bare = contact_coefficient(50.0) / contact_coefficient(300.0)
    assert thin / thick < 1.2 < bare
